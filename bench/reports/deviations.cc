// One picture of all boundaries: each threshold's deviation with its U, rising and
// falling, on one scale, against the tolerance band.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/drawing.h"
#include "bench/reports/html_tables.h"
#include "bench/reports/svg.h"

namespace tachproof {
namespace {

constexpr double width = 600, left = 112, right = 370;  // narrow: read on a phone too
constexpr double top = 26, row_height = 21, gap = 8;
constexpr std::size_t most_drawn = 120;  // boundaries and directions

class Deviations {
 public:
  Deviations(const RunRecord& record, std::size_t shown)
      : record_(record), shown_(shown), tolerance_(record.gauge.tolerance.rpm) {
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
    band(bottom);
    for (std::size_t i = 0; i < shown_; ++i) row(i);
    return fmt::format(
        "<svg viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"deviation of every threshold from its nominal "
        "rpm, with its uncertainty and the tolerance\">\n{}</svg>\n",
        fixed(width, 0), fixed(bottom + 34, 0), svg_);
  }

 private:
  const std::vector<BoundaryResult>& rows() const { return record_.result.boundaries; }

  // Rising and falling of one boundary stand together.
  double y_of(std::size_t i) const {
    std::size_t groups = 0;
    for (std::size_t k = 1; k <= i; ++k) groups += rows()[k].boundary != rows()[k - 1].boundary;
    return top + row_height * static_cast<double>(i) + gap * static_cast<double>(groups);
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

  void band(double bottom) {
    const double from = scale_(-tolerance_), to = scale_(tolerance_);
    svg_ += svg_rect({from, top - 8}, to - from, bottom - top + 12, "band");
    svg_ += svg_line({scale_(0), top - 8}, {scale_(0), bottom + 4}, "rising");
    svg_ += svg_text({(from + to) / 2, 12}, fmt::format("allowed: ± {} rpm", fixed(tolerance_, 1)), "small",
                     Anchor::middle);
    const Ticks ticks = round_ticks(scale_.from, scale_.to, 5);
    for (const double value : ticks.values) {
      svg_ += svg_line({scale_(value), bottom + 4}, {scale_(value), bottom + 9}, "axis");
      svg_ +=
          svg_text({scale_(value), bottom + 22}, with_sign(value, ticks.decimals), "small", Anchor::middle);
    }
    svg_ += svg_line({left, bottom + 4}, {right, bottom + 4}, "axis");
    svg_ += svg_text({right + 12, bottom + 22}, "deviation, rpm", "small");
  }

  double within(double rpm) const { return std::clamp(scale_(rpm), left, right); }

  void row(std::size_t i) {
    const BoundaryResult& b = rows()[i];
    const double y = y_of(i) + row_height / 2 - 2;
    if (i == 0 || rows()[i - 1].boundary != b.boundary)
      svg_ += svg_text({4, y + 4}, shortened(printable(b.boundary), 13), "strong");
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
      text = between_words(*b.between_rpm);
    } else {
      text = "not measured";
    }
    svg_ += svg_text({right + 12, y + 4}, text, "small");
    if (!b.asked && b.verdict == Verdict::undecided) return;
    if (b.verdict != Verdict::pass && !tells_findings(record_))
      svg_ += svg_text({width - 4, y + 4}, shouted(b.verdict), "strong", Anchor::end);
  }

  const RunRecord& record_;
  std::size_t shown_;
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
  return "<figure class=\"deviations\"><div class=\"scroll\">" + Deviations(record, shown).draw() +
         "</div>\n<figcaption>" + caption + "</figcaption></figure>\n";
}

}  // namespace tachproof
