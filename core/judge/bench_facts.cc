#include "core/judge/bench_facts.h"

#include <algorithm>
#include <cmath>

namespace tachproof {

BenchUncertainty bench_uncertainty(const BenchFacts& facts, double rpm_uncertainty) {
  // Resolutions are full widths of a rectangle (GUM F.2.2.1: width / sqrt 12).
  const double whole_width = std::sqrt(12.0);
  BenchUncertainty u;
  u.source_tick_s = to_seconds(facts.source.tick) / whole_width;
  const Nanos width = facts.watcher.stamp_width > 0 ? facts.watcher.stamp_width : facts.watcher.resolution;
  u.resolution_s = to_seconds(width) / whole_width;
  u.timing_s = std::hypot(u.source_tick_s, u.resolution_s, to_seconds(facts.watcher.stamp_uncertainty));
  u.stamp_offset_s = to_seconds(facts.watcher.stamp_offset);
  const double stamp_s = to_seconds(facts.watcher.stamp_uncertainty);
  const double own2 = std::max(0.0, stamp_s * stamp_s - u.stamp_offset_s * u.stamp_offset_s);
  u.own_timing_s = std::hypot(u.source_tick_s, u.resolution_s, std::sqrt(own2));
  u.clock_share = facts.source.clock_ppm * 1e-6;
  u.rpm = rpm_uncertainty;
  u.source_lag_s = to_seconds(facts.source.lag);
  u.source_rpm = facts.source.rpm;
  return u;
}

}  // namespace tachproof
