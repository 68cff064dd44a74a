#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bench/record/text.h"
#include "bench/reports/drawing.h"
#include "bench/reports/svg.h"
#include "core/judge/row_place.h"
#include "core/judge/state_doubt.h"

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

// Beside a step of hundreds of rpm the band of the tolerance would be a hair: where the line goes
// further than `whole` tolerances from the threshold, the axis is broken at `near` of them, and what
// lies beyond has a strip of its own.
constexpr double whole = 12, near = 8, strip = 20;
constexpr double air = 0.4;  // beyond the line, of what a strip shows of it

class RpmScale {
 public:
  RpmScale() = default;
  RpmScale(double lowest, double highest, double nominal, double tolerance)
      : lowest_(lowest), highest_(highest), from_(lowest), to_(highest) {
    if (tolerance > 0 && lowest < nominal - whole * tolerance) {
      from_ = nominal - near * tolerance;
      lowest_ -= air * (from_ - lowest);
    }
    if (tolerance > 0 && highest > nominal + whole * tolerance) {
      to_ = nominal + near * tolerance;
      highest_ += air * (highest - to_);
    }
    inner_ = {from_, to_, bottom - (broken_below() ? strip : 0), top + (broken_above() ? strip : 0)};
  }
  double operator()(double rpm) const {
    if (broken_above() && rpm > to_) return Scale{to_, highest_, inner_.end, top}(rpm);
    if (broken_below() && rpm < from_) return Scale{lowest_, from_, bottom, inner_.start}(rpm);
    return inner_(rpm);
  }
  bool broken_above() const { return highest_ > to_; }
  bool broken_below() const { return lowest_ < from_; }
  double lowest() const { return lowest_; }
  double highest() const { return highest_; }
  const Scale& inner() const { return inner_; }  // between the breaks

 private:
  double lowest_ = 0, highest_ = 1, from_ = 0, to_ = 1;
  Scale inner_{0, 1, bottom, top};
};

std::string verdict_words(Verdict v) {
  return v == Verdict::pass ? "pass" : v == Verdict::fail ? "FAIL" : "UNDECIDED";
}

class CloseUp {
 public:
  CloseUp(const RunRecord& record, const TransitionResult& t, const std::vector<RpmPoint>& line, Span span)
      : t_(t),
        line_(line),
        doubt_(doubt_rpm(record.gauge, record.result, t.boundary, t.state)),
        tolerance_(record.gauge.tolerance.rpm + record.extra_tolerance_rpm + doubt_) {
    if (!std::isfinite(tolerance_)) tolerance_ = 0;
    time_ = {to_seconds(span.from), to_seconds(span.to), left, right};
    foot_ = head_ = t.nominal_rpm;
    for (const RpmPoint& p : line) {
      foot_ = std::min(foot_, p.rpm);
      head_ = std::max(head_, p.rpm);
    }
    const double lowest = std::min(foot_, t.nominal_rpm - 2 * tolerance_);
    const double highest = std::max(head_, t.nominal_rpm + 2 * tolerance_);
    const double room = std::max(1.0, 0.06 * (highest - lowest));
    rpm_ = {lowest - room, highest + room, t.nominal_rpm, tolerance_};
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
    const std::string state = shortened(printable(t_.state), 40);
    const std::string label = escaped("close-up of " + in_state(title, state));
    // What is no pass is framed, so that nobody has to search for it.
    if (t_.verdict != Verdict::pass) svg_ += svg_rect({2, 2}, width - 4, 242, word(t_.verdict));
    return fmt::format("<svg viewBox=\"0 0 440 246\" role=\"img\" aria-label=\"{}\">\n{}{}</svg>\n", label,
                       svg_text({left, state.empty() ? 18.0 : 12.0}, title, "strong") +
                           (state.empty() ? "" : svg_text({left, 26}, state, "small")),
                       svg_);
  }

 private:
  void axes() {
    const Scale& inner = rpm_.inner();
    const Ticks rpm = round_ticks(inner.from, inner.to, 4);
    for (const double value : rpm.values) {
      svg_ += svg_line({left, rpm_(value)}, {right, rpm_(value)}, "grid");
      svg_ += svg_text({left - 6, rpm_(value) + 4}, fixed(value, rpm.decimals), "small", Anchor::end);
    }
    const Ticks time = round_ticks(time_.from, time_.to, 4);
    for (const double& value : time.values) {
      svg_ += svg_line({time_(value), bottom}, {time_(value), bottom + 4}, "axis");
      const bool is_last = &value == &time.values.back();
      svg_ += svg_text({std::min(time_(value), width - 22), bottom + 16},
                       fixed(value, time.decimals) + (is_last ? " s" : ""), "small", Anchor::middle);
    }
    svg_ += svg_text({10, 18}, "rpm", "small");
    svg_ += svg_line({left, bottom}, {right, bottom}, "axis");
    svg_ += svg_line({left, inner.end}, {left, inner.start}, "axis");
    if (rpm_.broken_above()) broken(head_, top + strip / 2);
    if (rpm_.broken_below()) broken(foot_, bottom - strip / 2);
  }

  // Two strokes across the axis, and what the line goes to beyond them.
  void broken(double rpm, double y) {
    for (const double at : {y - 2.5, y + 2.5})
      svg_ += svg_line({left - 4, at + 2.5}, {left + 4, at - 2.5}, "axis");
    svg_ += svg_text({left - 6, rpm_(rpm) + 4}, fixed(rpm, 0), "small", Anchor::end);
  }

  // Not through the numbers below the axis.
  void upright(double x, double to, const char* style) {
    svg_ += svg_line({x, top}, {x, bottom}, style) + svg_line({x, bottom + 19}, {x, to}, style);
  }

  void threshold() {
    const double high = rpm_(t_.nominal_rpm + tolerance_);
    const double low = rpm_(t_.nominal_rpm - tolerance_);
    svg_ += svg_rect({left, high}, right - left, low - high, "band");
    svg_ += svg_line({left, rpm_(t_.nominal_rpm)}, {right, rpm_(t_.nominal_rpm)}, "rising");
    // On the side where the rpm line is not: by then it has crossed the band.
    const bool line_goes_up = t_.direction == Direction::rising;
    const Point at = line_goes_up ? Point{right - 4, low + 12} : Point{right - 4, high - 4};
    const std::string of_take = doubt_ > 0 ? fmt::format(" (the take: {})", fixed(doubt_, 1)) : "";
    svg_ +=
        svg_text(at, fmt::format("{} ± {} rpm{}", fixed(t_.nominal_rpm, 1), fixed(tolerance_, 1), of_take),
                 "on-lamp", Anchor::end);
  }

  void allowed() {
    const double from = time_(to_seconds(t_.earliest));
    const double to = time_(to_seconds(t_.latest));
    const double y = bottom + 25;
    svg_ += svg_rect({from, y}, std::max(1.0, to - from), 8, "allowed");
    upright(from, y, "limit");
    upright(to, y, "limit");
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
    upright(x, y, "seen");
    if (std::isfinite(t_.observed_rpm) && t_.observed_rpm >= rpm_.lowest() &&
        t_.observed_rpm <= rpm_.highest())
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
  double doubt_;  // of what was taken
  double tolerance_;
  double foot_ = 0, head_ = 0;  // the lowest and the highest rpm in the picture
  Scale time_;
  RpmScale rpm_;
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
