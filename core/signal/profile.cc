#include "core/signal/profile.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

#include "core/base/portable_math.h"
#include "core/signal/instant.h"

namespace tachproof {
namespace {

constexpr double two_pi = 6.283185307179586476925;

using Shape = Segment::Shape;

double in_seconds(Nanos t) { return static_cast<double>(t) / 1e9; }

bool on_side(const Segment& segment, double level, bool rising, double s) {
  return rising ? segment.rpm(s) >= level : segment.rpm(s) < level;
}

// The closed forms round. From `s`, which is right but for rounding, moves on
// until rpm(s) is on the asked side, by steps that grow from the last bit.
std::optional<double> settle(const Segment& segment, double level, bool rising, double s, double furthest) {
  double step = std::max(s, segment.lasts_s) * std::numeric_limits<double>::epsilon();
  while (s <= furthest) {
    if (on_side(segment, level, rising, s)) return s;
    s += step;
    step *= 2;
  }
  return std::nullopt;
}

std::optional<double> sine_reaches(const Segment& g, double level, bool rising, double from_s) {
  if (g.swing_rpm == 0) return std::nullopt;
  const double sine = (level - g.rpm0) / std::abs(g.swing_rpm);
  if (rising ? sine > 1 : sine <= -1) return std::nullopt;
  // In turns of a wave of positive swing; a negative one runs half a turn late.
  const double up = std::asin(std::clamp(sine, -1.0, 1.0)) / two_pi;
  const double turn = (rising ? up : 0.5 - up) + (g.swing_rpm < 0 ? 0.5 : 0);
  constexpr double slack = 1e-6;  // turns: where rounding may have put it
  double whole = std::ceil(from_s / g.period_s - turn - slack);
  for (int i = 0; i < 2; ++i, ++whole) {
    const double s = std::max(from_s, (turn + whole) * g.period_s);
    const double furthest = std::min(g.lasts_s, s + slack * g.period_s);
    if (const auto found = settle(g, level, rising, s, furthest)) return found;
  }
  return std::nullopt;
}

// Turns steps into segments and actions.
class Flattener {
 public:
  std::vector<Segment> segments;
  std::vector<Action> actions;
  Instant now;

  void steps(std::span<const Step> list) {
    for (const Step& step : list) {
      if (++steps_ > Profile::max_segments) throw std::invalid_argument("profile: too many steps");
      std::visit([this](const auto& s) { add(s); }, step);
    }
  }

 private:
  void add(const Hold& hold) {
    jump(hold.rpm);
    stay(hold.lasts);
  }

  void add(const RampByRate& ramp) {
    const double from = rpm_;
    check_rpm(ramp.to_rpm);
    check(std::isfinite(ramp.rpm_per_s) && ramp.rpm_per_s > 0, "profile: a rate must be above 0");
    const Wide lasts_ns = Wide(std::abs(ramp.to_rpm - from)) * 1e9 / ramp.rpm_per_s;
    const double slope = ramp.to_rpm < from ? -ramp.rpm_per_s : ramp.rpm_per_s;
    linear(ramp.to_rpm, slope, lasts_ns);
  }

  void add(const RampByTime& ramp) {
    check_rpm(ramp.to_rpm);
    check_time(ramp.lasts);
    if (ramp.to_rpm == rpm_) return stay(ramp.lasts);
    if (ramp.lasts == 0) return jump(ramp.to_rpm);
    linear(ramp.to_rpm, (ramp.to_rpm - rpm_) / in_seconds(ramp.lasts), static_cast<double>(ramp.lasts));
  }

  void add(const StepTo& step) { jump(step.rpm); }

  void add(const Wave& wave) {
    const double swing = std::abs(wave.swing_rpm);
    check_rpm(wave.mean_rpm);
    check(wave.mean_rpm - swing >= 0, "profile: a wave goes below 0 rpm");
    check(wave.mean_rpm + swing <= Profile::max_rpm, "profile: a wave goes above 20000 rpm");
    check(wave.period > 0, "profile: a period must be above 0");
    check_time(wave.lasts);
    Segment segment{.shape = Shape::sine, .start = now, .lasts_s = in_seconds(wave.lasts)};
    segment.rpm0 = wave.mean_rpm;
    segment.swing_rpm = wave.swing_rpm;
    segment.period_s = in_seconds(wave.period);
    push(segment, static_cast<double>(wave.lasts));
    rpm_ = segment.rpm(segment.lasts_s);
  }

  void add(const LoggedRpm& log) {
    check(log.samples && log.samples->size() >= 2, "profile: a log of less than two samples");
    const std::vector<LoggedRpm::Sample>& samples = *log.samples;
    check(samples.front().at == 0, "profile: a log that does not begin at 0 s");
    steps_ += samples.size() - 2;  // the step itself was counted
    check(steps_ <= Profile::max_segments, "profile: too many steps");
    jump(samples.front().rpm);
    for (std::size_t i = 1; i < samples.size(); ++i) {
      const Nanos lasts = samples[i].at - samples[i - 1].at;
      check(lasts > 0, "profile: a log whose times do not rise");
      add(RampByTime{samples[i].rpm, lasts});
    }
  }

  void add(const Press& press) {
    act(press);
    stay(press.lasts);
  }

  void add(const PowerOff& off) {
    act(off);
    stay(off.lasts);
  }

  void add(const Supply& supply) {
    act(supply);
    stay(supply.lasts);
  }

  void add(const Ask& ask) { act(ask); }

  void add(const Repeat& repeat) {
    check(repeat.times >= 1, "profile: a repeat must be 1 or more");
    if (repeat.steps.empty()) return;
    for (int i = 0; i < repeat.times; ++i) steps(repeat.steps);
  }

  void jump(double rpm) {
    check_rpm(rpm);
    rpm_ = rpm;
  }

  void stay(Nanos lasts) {
    check_time(lasts);
    push({.shape = Shape::constant, .start = now, .lasts_s = in_seconds(lasts), .rpm0 = rpm_},
         static_cast<double>(lasts));
  }

  void linear(double to_rpm, double slope, const Wide& lasts_ns) {
    Segment segment{.shape = Shape::linear, .start = now, .lasts_s = (lasts_ns / 1e9).hi, .rpm0 = rpm_};
    segment.slope_rpm_per_s = slope;
    // A ramp never passes its target, not by a last bit: a lamp boundary may
    // lie there.
    const auto past = [&] {
      const double end = segment.rpm(segment.lasts_s);
      return slope > 0 ? end > to_rpm : end < to_rpm;
    };
    while (past()) segment.slope_rpm_per_s = std::nextafter(segment.slope_rpm_per_s, 0);
    push(segment, lasts_ns);
    rpm_ = to_rpm;
  }

  void push(const Segment& segment, const Wide& lasts_ns) {
    // Nothing that the rest could notice happens within a thousandth of a
    // nanosecond; such a ramp is a step.
    if (lasts_ns.hi < 1e-3) return;
    const auto left = static_cast<double>(Profile::max_duration - now.whole);
    check(lasts_ns.hi <= left, "profile: it lasts too long");
    now = later(now, lasts_ns);
    peak_ = std::max(peak_, segment.highest_rpm());
    segments.push_back(segment);
  }

  template <class What>
  void act(const What& what) {
    actions.push_back({.at = now.whole + (now.frac_ns > 0 ? 1 : 0), .what = what, .peak_rpm = peak_});
  }

  static void check(bool holds, const char* otherwise) {
    if (!holds) throw std::invalid_argument(otherwise);
  }
  static void check_rpm(double rpm) {
    check(rpm >= 0 && rpm <= Profile::max_rpm, "profile: an rpm must be within 0..20000");
  }
  static void check_time(Nanos t) { check(t >= 0, "profile: a time must not be below 0"); }

  double rpm_ = 0;
  double peak_ = 0;
  std::size_t steps_ = 0;
};

}  // namespace

double Segment::rpm(double s) const {
  switch (shape) {
    case Shape::constant: return rpm0;
    case Shape::linear: return rpm0 + slope_rpm_per_s * s;
    case Shape::sine: return rpm0 + swing_rpm * portable::sine_cosine_of_turns(s / period_s).sine;
  }
  return rpm0;
}

double Segment::slope(double s) const {
  if (shape == Shape::linear) return slope_rpm_per_s;
  if (shape == Shape::sine)
    return swing_rpm * two_pi / period_s * portable::sine_cosine_of_turns(s / period_s).cosine;
  return 0;
}

double Segment::turns(double s) const {
  double mean = rpm0;
  double swung = 0;
  if (shape == Shape::linear) mean += slope_rpm_per_s * s / 2;
  if (shape == Shape::sine) {
    // 1 - cos(x) = 2 sin(x/2)^2 keeps its digits where x is small.
    const double half = portable::sine_cosine_of_turns(s / period_s / 2).sine;
    swung = swing_rpm * period_s / two_pi * 2 * half * half;
  }
  return (mean * s + swung) / 60;
}

double Segment::highest_rpm() const {
  if (shape == Shape::sine) {
    const double crest_s = (swing_rpm > 0 ? 0.25 : 0.75) * period_s;
    if (lasts_s >= crest_s) return rpm0 + std::abs(swing_rpm);
  }
  return std::max(rpm(0), rpm(lasts_s));
}

double Segment::lowest_rpm() const {
  if (shape == Shape::sine) {
    const double trough_s = (swing_rpm > 0 ? 0.75 : 0.25) * period_s;
    if (lasts_s >= trough_s) return rpm0 - std::abs(swing_rpm);
  }
  return std::min(rpm(0), rpm(lasts_s));
}

std::optional<double> Segment::reaches(double level, bool rising, double from_s) const {
  if (from_s > lasts_s) return std::nullopt;
  if (on_side(*this, level, rising, from_s)) return from_s;
  if (shape == Shape::sine) return sine_reaches(*this, level, rising, from_s);
  if (shape == Shape::constant || (slope_rpm_per_s > 0) != rising || slope_rpm_per_s == 0)
    return std::nullopt;
  const double s = (level - rpm0) / slope_rpm_per_s;
  return settle(*this, level, rising, std::max(s, from_s), lasts_s);
}

Profile::Profile(std::span<const Step> steps) {
  Flattener flat;
  flat.steps(steps);
  segments_ = std::move(flat.segments);
  actions_ = std::move(flat.actions);
  duration_ = flat.now.whole + (flat.now.frac_ns > 0 ? 1 : 0);
}

namespace {

struct Place {
  const Segment& segment;
  double s;
};

// `t` is not before the first segment.
Place place(const std::vector<Segment>& segments, Nanos t) {
  const auto after = std::upper_bound(segments.begin(), segments.end(), t, [](Nanos at, const Segment& g) {
    return at < g.start.whole || (at == g.start.whole && g.start.frac_ns > 0);
  });
  const Segment& segment = *std::prev(after);
  const double ns = static_cast<double>(t - segment.start.whole) - segment.start.frac_ns;
  return {segment, std::min(ns / 1e9, segment.lasts_s)};
}

}  // namespace

double Profile::rpm_at(Nanos t) const {
  if (t < 0 || segments_.empty()) return 0;
  const auto [segment, s] = place(segments_, t);
  return segment.rpm(s);
}

double Profile::slope_at(Nanos t) const {
  if (t < 0 || t >= duration_ || segments_.empty()) return 0;
  const auto [segment, s] = place(segments_, t);
  return segment.slope(s);
}

double Profile::highest_rpm() const {
  double highest = 0;
  for (const Segment& segment : segments_) highest = std::max(highest, segment.highest_rpm());
  return highest;
}

double Profile::lowest_rpm() const {
  double lowest = segments_.empty() ? 0 : segments_.front().lowest_rpm();
  for (const Segment& segment : segments_) lowest = std::min(lowest, segment.lowest_rpm());
  return lowest;
}

}  // namespace tachproof
