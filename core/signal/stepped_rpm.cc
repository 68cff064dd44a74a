#include "core/signal/stepped_rpm.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace tachproof {
namespace {

Nanos end_of(const Segment& s) { return s.start.whole + std::llround(s.start.frac_ns + s.lasts_s * 1e9); }

double seconds_into(const Segment& s, Nanos t) {
  const double in = to_seconds(t - s.start.whole) - s.start.frac_ns * 1e-9;
  return std::clamp(in, 0.0, s.lasts_s);
}

double steepest(const Segment& s) {
  switch (s.shape) {
    case Segment::Shape::linear: return std::abs(s.slope_rpm_per_s);
    case Segment::Shape::sine: return std::abs(s.swing_rpm) * 2 * std::numbers::pi / s.period_s;
    case Segment::Shape::constant: break;
  }
  return 0;
}

}  // namespace

Nanos source_lag(const SteppedTiming& timing) { return timing.change; }

double worst_ramp_error_rpm(const Profile& profile, const SteppedTiming& timing) {
  double slope = 0;
  for (const Segment& segment : profile.segments()) slope = std::max(slope, steepest(segment));
  return slope * to_seconds(source_lag(timing)) + timing.within_rpm;
}

void SteppedRpm::add(const Segment& segment) {
  segments_.push_back(segment);
  known_until_ = end_of(segment);
}

double SteppedRpm::rpm_at(Nanos t) const {
  // The later of two that meet at t speaks, as in a profile.
  const Segment* at = &segments_.front();
  for (const Segment& segment : segments_)
    if (segment.start.whole <= t) at = &segment;
  return at->rpm(seconds_into(*at, t));
}

// The first instant from `from` on at which the last level will no longer do.
std::optional<Nanos> SteppedRpm::first_departure(Nanos from) const {
  const double level = last_->rpm;
  const auto departs = [&](double rpm) {
    return std::abs(rpm - level) > timing_.within_rpm || (rpm == 0) != (level == 0);
  };
  for (const Segment& segment : segments_) {
    const Nanos end = end_of(segment);
    if (end < from) continue;
    const Nanos begin = std::max(from, segment.start.whole);
    const double s = seconds_into(segment, begin);
    if (departs(segment.rpm(s))) return begin;
    std::optional<double> leaves = segment.reaches(level + timing_.within_rpm, true, s);
    const std::optional<double> down = segment.reaches(level - timing_.within_rpm, false, s);
    if (!leaves || (down && *down < *leaves)) leaves = down;
    if (leaves) return std::clamp(segment.start.whole + from_seconds(*leaves), begin, end);
  }
  return std::nullopt;
}

std::optional<RpmChange> SteppedRpm::next(Nanos due) {
  while (!segments_.empty()) {
    const std::optional<Nanos> at =
        last_ ? first_departure(last_->at + timing_.change) : segments_.front().start.whole;
    if (!at) return std::nullopt;
    const Nanos middle = *at + timing_.change / 2;
    if (*at > due && middle >= known_until_) return std::nullopt;
    const bool same = last_ && last_->rpm == rpm_at(middle);
    last_ = RpmChange{*at, rpm_at(middle)};
    while (segments_.size() > 1 && end_of(segments_.front()) < *at) segments_.pop_front();
    if (!same) return last_;
  }
  return std::nullopt;
}

}  // namespace tachproof
