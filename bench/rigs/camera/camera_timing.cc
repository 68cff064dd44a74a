#include "bench/rigs/camera/camera_timing.h"

#include <algorithm>
#include <cmath>

#include "core/camera/lamp_frames.h"

namespace tachproof {
namespace {

constexpr Nanos most_drift_between_flashes = 5 * ns_per_ms;
constexpr double stated_within = 0.1;  // an exposure as a person or a camera says it

}  // namespace

CameraTiming::CameraTiming(const CameraSettings& settings, const Regions& regions, Nanos period,
                           TimeRelation by, const std::optional<RunEnds>& ends)
    : settings_(settings), regions_(regions), period_(period), by_(by) {
  if (by == TimeRelation::lamp_changes && ends)
    ends_ = std::max(ends->first.latest - ends->first.earliest, ends->last.latest - ends->last.earliest) / 2;
}

Nanos CameraTiming::widest_change() const {
  return static_cast<Nanos>(frames_in_longest_unseen * static_cast<double>(period_));
}

Nanos CameraTiming::resolution() const { return widest_change() + exposure_within().to; }

// Unknown: half a period, the middle of what it can be.
Nanos CameraTiming::exposure() const {
  return settings_.exposure_ms > 0 ? from_seconds(settings_.exposure_ms * 1e-3) : period_ / 2;
}

ExposureBounds CameraTiming::exposure_within() const {
  if (settings_.exposure_ms <= 0) return {0, period_};
  const auto about = static_cast<double>(exposure());
  return {static_cast<Nanos>((1 - stated_within) * about),
          std::min(static_cast<Nanos>((1 + stated_within) * about), period_)};
}

Nanos CameraTiming::own_rows(const LampRegion& lamp) const {
  return static_cast<Nanos>(lamp.radius / regions_.height * readout_ns());
}

// From the first row to the last; unknown: anything up to a period.
double CameraTiming::readout_ns() const {
  return settings_.readout_ms >= 0 ? settings_.readout_ms * 1e6 : static_cast<double>(period_) / 2;
}

Nanos CameraTiming::readout(double row) const {
  return static_cast<Nanos>(row / regions_.height * readout_ns());
}

Nanos CameraTiming::readout_doubt() const {
  if (settings_.readout_ms >= 0) return 0;
  double from = 0;
  if (by_ == TimeRelation::sync_lamp) from = regions_.sync->y;
  if (by_ == TimeRelation::lamp_changes) from = regions_.lamps.front().y;
  double most = 0;
  for (const LampRegion& region : regions_.lamps) most = std::max(most, std::abs(region.y - from));
  return static_cast<Nanos>(most / regions_.height * readout_ns());
}

Nanos CameraTiming::most_offset() const {
  if (by_ == TimeRelation::host_clock) return (stamp_delay().to - stamp_delay().from + 1) / 2;
  return (widest_change() + exposure_within().to) / 2 + most_drift_between_flashes + ends_;
}

// What is not known of the camera is at most a period.
CameraSettings::Delay CameraTiming::stamp_delay() const {
  if (settings_.stamp_delay) return *settings_.stamp_delay;
  const Nanos half = settings_.exposure_ms > 0 ? exposure() / 2 : period_ / 2;
  const Nanos rows = settings_.readout_ms >= 0 ? from_seconds(settings_.readout_ms * 1e-3) : period_;
  return {-half, half + rows + period_};
}

void StampsSeen::add(Nanos span, Nanos offset) {
  any_ = true;
  span_ = std::max(span_, span);
  offset_ = std::max(offset_, offset);
}

std::optional<StampTimes> StampsSeen::times(Nanos rows) const {
  if (!any_) return std::nullopt;
  const double offset = std::hypot(static_cast<double>(offset_), static_cast<double>(rows)) / std::sqrt(3.0);
  return StampTimes{2 * span_, static_cast<Nanos>(offset), static_cast<Nanos>(offset)};
}

}  // namespace tachproof
