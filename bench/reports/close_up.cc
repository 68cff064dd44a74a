#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bench/record/text.h"
#include "bench/reports/drawing.h"
#include "bench/reports/svg.h"

namespace tachproof {
namespace {

constexpr double width = 440;
constexpr double left = 62;
constexpr double right = 428;
constexpr double top = 30;
constexpr double bottom = 180;

// The time shown: what is allowed and what was seen, with room on both sides.
struct Span {
  Nanos from, to;
};
Span surroundings(const TransitionResult& t) {
  const Nanos first = t.seen ? std::min(t.earliest, t.at) : t.earliest;
  const Nanos last = t.seen ? std::max(t.latest, t.at) : t.latest;
  const Nanos room = std::max<Nanos>((last - first) / 4, 20 * ns_per_ms);
  return {first - room, last + room};
}

std::string verdict_words(Verdict v) {
  return v == Verdict::pass ? "pass" : v == Verdict::fail ? "FAIL" : "UNDECIDED";
}

class CloseUp {
 public:
  CloseUp(const RunRecord& record, const TransitionResult& t, const std::vector<RpmPoint>& line, Span span)
      : t_(t), line_(line), tolerance_(record.gauge.tolerance.rpm + record.extra_tolerance_rpm) {
    if (!std::isfinite(tolerance_)) tolerance_ = 0;
    time_ = {to_seconds(span.from), to_seconds(span.to), left, right};
    double lowest = t.nominal_rpm - 2 * tolerance_;
    double highest = t.nominal_rpm + 2 * tolerance_;
    for (const RpmPoint& p : line) {
      lowest = std::min(lowest, p.rpm);
      highest = std::max(highest, p.rpm);
    }
    const double room = std::max(1.0, 0.06 * (highest - lowest));
    rpm_ = {lowest - room, highest + room, bottom, top};
  }

  std::string draw() {
    axes();
    threshold();
    std::vector<Point> points;
    for (const RpmPoint& p : line_) points.push_back({time_(to_seconds(p.at)), rpm_(p.rpm)});
    svg_ += svg_path(points, "rpm");
    allowed();
    seen();
    const std::string title = fmt::format("{}, {}: {}", shortened(printable(t_.boundary), 28),
                                          word(t_.direction), verdict_words(t_.verdict));
    const std::string label = escaped("close-up of " + title);
    // What is no pass is framed, so that nobody has to search for it.
    if (t_.verdict != Verdict::pass) svg_ += svg_rect({2, 2}, width - 4, 242, word(t_.verdict));
    return fmt::format("<svg viewBox=\"0 0 440 246\" role=\"img\" aria-label=\"{}\">\n{}{}</svg>\n", label,
                       svg_text({left, 18}, title, "strong"), svg_);
  }

 private:
  void axes() {
    const Ticks rpm = round_ticks(rpm_.from, rpm_.to, 4);
    for (const double value : rpm.values) {
      svg_ += svg_line({left, rpm_(value)}, {right, rpm_(value)}, "grid");
      svg_ += svg_text({left - 6, rpm_(value) + 4}, fixed(value, rpm.decimals), "small", Anchor::end);
    }
    const Ticks time = round_ticks(time_.from, time_.to, 4);
    for (const double value : time.values) {
      svg_ += svg_line({time_(value), bottom}, {time_(value), bottom + 4}, "axis");
      svg_ += svg_text({time_(value), bottom + 16}, fixed(value, time.decimals), "small", Anchor::middle);
    }
    svg_ += svg_text({10, 18}, "rpm", "small");
    svg_ += svg_text({left - 6, bottom + 16}, "s", "small", Anchor::end);
    svg_ += svg_line({left, bottom}, {right, bottom}, "axis");
    svg_ += svg_line({left, top}, {left, bottom}, "axis");
  }

  void threshold() {
    const double high = rpm_(t_.nominal_rpm + tolerance_);
    const double low = rpm_(t_.nominal_rpm - tolerance_);
    svg_ += svg_rect({left, high}, right - left, low - high, "band");
    svg_ += svg_line({left, rpm_(t_.nominal_rpm)}, {right, rpm_(t_.nominal_rpm)}, "rising");
    // On the side where the rpm line is not.
    const bool line_comes_from_below = t_.direction == Direction::rising;
    const Point at = line_comes_from_below ? Point{left + 4, high - 4} : Point{left + 4, low + 12};
    svg_ +=
        svg_text(at, fmt::format("{} ± {} rpm", fixed(t_.nominal_rpm, 1), fixed(tolerance_, 1)), "on-lamp");
  }

  void allowed() {
    const double from = time_(to_seconds(t_.earliest));
    const double to = time_(to_seconds(t_.latest));
    const double y = bottom + 25;
    svg_ += svg_rect({from, y}, std::max(1.0, to - from), 8, "allowed");
    svg_ += svg_line({from, top}, {from, y}, "limit");
    svg_ += svg_line({to, top}, {to, y}, "limit");
    svg_ += svg_text({left - 6, y + 8}, "allowed", "small", Anchor::end);
  }

  void seen() {
    const double y = bottom + 50;
    svg_ += svg_text({left - 6, y + 4}, "seen", "small", Anchor::end);
    if (!t_.seen) {
      svg_ += svg_text({left + 4, y + 4}, "NOT SEEN", "strong");
      return;
    }
    const double x = time_(to_seconds(t_.at));
    svg_ += svg_line({x, top}, {x, y}, "seen");
    if (std::isfinite(t_.observed_rpm) && t_.observed_rpm >= rpm_.from && t_.observed_rpm <= rpm_.to)
      svg_ += svg_rect({x - 3.5, rpm_(t_.observed_rpm) - 3.5}, 7, 7, "point");
    svg_ += svg_path({{x, y - 5}, {x - 5, y}, {x, y + 5}, {x + 5, y}, {x, y - 5}}, "mark");
    std::string text = fmt::format("{} s", fixed(to_seconds(t_.at), 4));
    if (std::isfinite(t_.observed_rpm))
      text += fmt::format(", {} rpm", fixed(t_.observed_rpm, decimals_for(t_.expanded_uncertainty_rpm)));
    const bool on_the_left = x > (left + right) / 2;
    svg_ += svg_text({on_the_left ? x - 9 : x + 9, y + 4}, text, "small",
                     on_the_left ? Anchor::end : Anchor::start);
  }

  const TransitionResult& t_;
  const std::vector<RpmPoint>& line_;
  double tolerance_;
  Scale time_, rpm_;
  std::string svg_;
};

}  // namespace

std::string close_up_drawing(const RunRecord& record, const Trace& trace,
                             const TransitionResult& transition) {
  const Span span = surroundings(transition);
  const std::vector<RpmPoint> line = drawable(trace.rpm, span.from, span.to, 360);
  if (line.size() < 2 || !std::isfinite(transition.nominal_rpm)) return "";
  return CloseUp(record, transition, line, span).draw();
}

}  // namespace tachproof
