// One picture of all boundaries: each threshold's deviation with its U, rising and
// falling, on one scale, against the tolerance band.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <string_view>

#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/drawing.h"
#include "bench/reports/html_tables.h"
#include "bench/reports/svg.h"
#include "core/judge/row_place.h"
#include "core/judge/state_doubt.h"

namespace tachproof {
namespace {

// Narrow, so that it is read on a phone too: a line with the boundary's name and what did not pass,
// below it a line each for rising and falling.
constexpr double width = 380, left = 6, right = 238, numbers = 250;
constexpr double top = 26, name_height = 21, row_height = 21, state_height = 24, gap = 6;
constexpr std::size_t most_drawn = 120;  // boundaries and directions

class Deviations {
 public:
  Deviations(const RunRecord& record, std::size_t shown)
      : record_(record),
        shown_(shown),
        any_state_(std::any_of(rows().begin(), rows().end(), [](const auto& b) { return !b.state.empty(); })),
        tolerance_(record.gauge.tolerance.rpm) {
    if (!std::isfinite(tolerance_)) tolerance_ = 0;
    double most = 1.3 * tolerance_;
    for (std::size_t i = 0; i < shown_; ++i) most = std::max(most, furthest(rows()[i]));
    // A boundary that is a hundred tolerances off must not flatten all others.
    const double widest = std::max(6 * tolerance_, 1.0);
    most = std::clamp(most, 0.5, widest);
    scale_ = {-most, most, left, right};
  }

  std::string draw() {
    const double bottom = y_of(shown_ - 1) + row_height;
    for (std::size_t i = 0; i < shown_; ++i) row(i);
    axis(bottom);
    return fmt::format(
        "<svg viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"deviation of every threshold from its nominal "
        "rpm, with its uncertainty and the tolerance\">\n{}</svg>\n",
        fixed(width, 0), fixed(bottom + 34, 0), svg_);
  }

 private:
  const std::vector<BoundaryResult>& rows() const { return record_.result.boundaries; }

  // A state of the unit has a heading of its own, where there is more than the unit as set.
  bool begins_state(std::size_t i) const {
    return any_state_ && (i == 0 || rows()[i - 1].state != rows()[i].state);
  }
  bool begins_group(std::size_t i) const {
    return i == 0 || rows()[i - 1].boundary != rows()[i].boundary || begins_state(i);
  }

  // The upper edge of a row: below the name of its boundary.
  double y_of(std::size_t i) const {
    std::size_t groups = 0, states = 0;
    for (std::size_t k = 0; k <= i; ++k) groups += begins_group(k), states += begins_state(k);
    return top + row_height * static_cast<double>(i) + name_height * static_cast<double>(groups) +
           state_height * static_cast<double>(states) + gap * static_cast<double>(groups - 1);
  }

  static double furthest(const BoundaryResult& b) {
    const double off = b.threshold_rpm - b.nominal_rpm;
    double most = 0;
    if (std::isfinite(off))
      most = std::abs(off) + (std::isfinite(b.expanded_uncertainty_rpm) ? b.expanded_uncertainty_rpm : 0);
    if (b.between_rpm)
      for (const double end : {b.between_rpm->low_rpm, b.between_rpm->high_rpm})
        if (std::isfinite(end)) most = std::max(most, std::abs(end - b.nominal_rpm));
    return most;
  }

  void axis(double bottom) {
    svg_ += svg_text({scale_(0), 12}, fmt::format("allowed: ± {} rpm", fixed(tolerance_, 1)), "small",
                     Anchor::middle);
    const Ticks ticks = round_ticks(scale_.from, scale_.to, 5);
    for (const double value : ticks.values) {
      svg_ += svg_line({scale_(value), bottom + 4}, {scale_(value), bottom + 9}, "axis");
      svg_ +=
          svg_text({scale_(value), bottom + 22}, with_sign(value, ticks.decimals), "small", Anchor::middle);
    }
    svg_ += svg_line({left, bottom + 4}, {right, bottom + 4}, "axis");
    svg_ += svg_text({numbers, bottom + 22}, "deviation, rpm", "small");
  }

  double within(double rpm) const { return std::clamp(scale_(rpm), left, right); }

  // "falling FAIL", "UNDECIDED" when both are: empty when all is well or was not asked.
  std::string not_passed(std::size_t first) const {
    std::string words;
    std::size_t all = 0, wrong = 0;
    std::string_view direction;
    for (std::size_t i = first; i < shown_ && (i == first || !begins_group(i)); ++i) {
      const BoundaryResult& b = rows()[i];
      ++all;
      if (b.verdict == Verdict::pass || (!b.asked && b.verdict == Verdict::undecided)) continue;
      const std::string verdict = shouted(b.verdict);
      if (wrong++ == 0)
        words = verdict;
      else if (words != verdict)
        words += ", " + verdict;
      direction = word(b.direction);
    }
    return wrong == 0 || wrong == all ? words : std::string(direction) + " " + words;
  }

  // The name of a boundary, and what is allowed behind its rows.
  void head(std::size_t i) {
    const double y = y_of(i);
    if (begins_state(i)) {
      const std::string& state = rows()[i].state;
      const double line = y - name_height;
      svg_ += svg_text({left, line - 6},
                       state.empty() ? std::string(state_as_set) : shortened(printable(state), 48), "small");
      svg_ += svg_line({left, line - 2}, {width - 2, line - 2}, "axis");
    }
    svg_ += svg_text({left, y - 5}, shortened(printable(rows()[i].boundary), 24), "strong");
    if (!tells_findings(record_)) svg_ += svg_text({width - 2, y - 5}, not_passed(i), "strong", Anchor::end);
    std::size_t last = i;
    while (last + 1 < shown_ && !begins_group(last + 1)) ++last;
    // After a take as much more is allowed as is not known of it: beyond the broken lines.
    const double doubt = doubt_rpm(record_.gauge, record_.result, rows()[i].boundary, rows()[i].state);
    const double from = within(-tolerance_ - doubt), to = within(tolerance_ + doubt),
                 end = y_of(last) + row_height - 2;
    svg_ += svg_rect({from, y - 1}, to - from, end - y + 1, "band");
    if (doubt > 0) {
      for (const double limit : {-tolerance_, tolerance_})
        svg_ += svg_line({scale_(limit), y - 1}, {scale_(limit), end}, "limit");
      svg_ += svg_text({numbers, y - 5}, fmt::format("± {} more: the take", fixed(doubt, 1)), "small");
    }
    svg_ += svg_line({scale_(0), y - 1}, {scale_(0), end}, "rising");
  }

  void row(std::size_t i) {
    if (begins_group(i)) head(i);
    const BoundaryResult& b = rows()[i];
    const double y = y_of(i) + row_height / 2 - 2;
    const double off = b.threshold_rpm - b.nominal_rpm, u = b.expanded_uncertainty_rpm;
    std::string text;
    if (std::isfinite(off)) {
      const int decimals = decimals_for(u);
      if (std::isfinite(u)) {
        svg_ += svg_line({within(off - u), y}, {within(off + u), y}, "bar");
        for (const double end : {off - u, off + u})
          svg_ += svg_line({within(end), y - 4}, {within(end), y + 4}, "bar");
      }
      const double x = within(off), tip = b.direction == Direction::rising ? -5 : 5;
      svg_ += svg_path({{x - 5, y - tip}, {x + 5, y - tip}, {x, y + tip}, {x - 5, y - tip}}, "mark");
      text = html_signed(off, decimals) + (std::isfinite(u) ? " ± " + fixed(u, decimals) : "");
    } else if (b.between_rpm) {
      const double from =
          std::isfinite(b.between_rpm->low_rpm) ? b.between_rpm->low_rpm - b.nominal_rpm : scale_.from;
      const double to =
          std::isfinite(b.between_rpm->high_rpm) ? b.between_rpm->high_rpm - b.nominal_rpm : scale_.to;
      svg_ += svg_rect({within(from), y - 4}, std::max(2.0, within(to) - within(from)), 8, "allowed");
      text = range_words(*b.between_rpm);
    } else {
      text = "not measured";
    }
    svg_ += svg_text({numbers, y + 4}, text, "small");
  }

  // "3300.0 to 3579.8": there is no room for a sentence.
  static std::string range_words(const RpmBetween& between) {
    if (!std::isfinite(between.low_rpm) || !std::isfinite(between.high_rpm)) return between_words(between);
    return fixed(between.low_rpm, 1) + " to " + fixed(between.high_rpm, 1);
  }

  const RunRecord& record_;
  std::size_t shown_;
  bool any_state_;
  double tolerance_;
  Scale scale_;
  std::string svg_;
};

}  // namespace

std::string deviations_html(const RunRecord& record) {
  const std::vector<BoundaryResult>& rows = record.result.boundaries;
  if (rows.empty()) return "";
  const std::size_t shown = std::min(rows.size(), most_drawn);
  std::string caption =
      "Threshold less nominal rpm, with its U (95 %). Grey: what is allowed. Triangles up: rising; down: "
      "falling. A box: the threshold lies somewhere in it.";
  if (shown < rows.size()) caption += fmt::format(" {} of {} rows are drawn.", shown, rows.size());
  return "<figure class=\"deviations\"><div class=\"scroll narrow\">" + Deviations(record, shown).draw() +
         "</div>\n<figcaption>" + caption + "</figcaption></figure>\n";
}

}  // namespace tachproof
