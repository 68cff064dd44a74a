// What the parts of the flicker simulation and its closed forms have in common.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "core/flicker/flicker.h"

namespace tachproof::flicker {

// A train's edges are stamped in whole ticks: uniform, so tick / sqrt 12
// (GUM F.2.2.1), taken as if it were more jitter.
inline double jitter_s(const Noise& noise, const UnitReading& unit) {
  const double tick = unit.timer_hz > 0 ? 1 / unit.timer_hz : 0;
  return std::hypot(noise.jitter_us * 1e-6, tick / std::sqrt(12.0));
}

inline double pulses_per_s(double pulses_per_rev, double rpm) { return pulses_per_rev * rpm / 60; }

inline std::size_t averaged(const UnitReading& unit) {
  return static_cast<std::size_t>(std::clamp(unit.averaging_pulses, 1, UnitReading::most_averaged));
}

// Standard deviation of a reading in rpm for edges that are off by 1 s.
inline double rpm_per_edge_s(const UnitReading& unit, double pulses_per_rev, double rpm) {
  return rpm * pulses_per_s(pulses_per_rev, rpm) / static_cast<double>(averaged(unit));
}

// Readings that a unit acts on come so many pulses apart.
inline double pulses_per_reading(const UnitReading& unit, double pulses_per_rev, double rpm) {
  return unit.update_hz > 0 ? std::max(1.0, pulses_per_s(pulses_per_rev, rpm) / unit.update_hz) : 1;
}

}  // namespace tachproof::flicker
