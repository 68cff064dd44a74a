#include <cmath>
#include <limits>
#include <numbers>

#include "core/flicker_reading.h"
#include "core/level_crossing.h"

namespace tachproof {

using namespace flicker;

double disturbances_per_min(const Noise& noise, double pulses_per_rev, double rpm) {
  if (!noise.replay.empty()) return 0;
  return 2 * (noise.missing + noise.doubled) * pulses_per_s(pulses_per_rev, rpm) * 60;
}

namespace {

// Mean of correlations kept^|i - j + apart| over i, j < pulses: of averages of an
// AR(1) wander, `apart` pulses from each other.
double wander_correlation(double kept, std::size_t pulses, std::size_t apart) {
  double sum = 0;
  const auto n = static_cast<std::int64_t>(pulses);
  for (std::int64_t lag = 1 - n; lag < n; ++lag)
    sum += static_cast<double>(n - std::abs(lag)) *
           std::pow(kept, static_cast<double>(std::abs(lag + static_cast<std::int64_t>(apart))));
  return sum / static_cast<double>(n * n);
}

}  // namespace

double closed_form_per_min(const Noise& noise, const UnitReading& unit, double pulses_per_rev, double rpm,
                           double width_rpm) {
  constexpr double none = std::numeric_limits<double>::quiet_NaN();
  if (!noise.replay.empty() || !noise.firing.empty()) return none;
  const std::size_t pulses = averaged(unit);
  const double hz = pulses_per_s(pulses_per_rev, rpm);
  const double apart = pulses_per_reading(unit, pulses_per_rev, rpm);
  const double changes_per_cycle_min = 2 * 60 * hz / apart;
  const double edge_sd =
      std::numbers::sqrt2 * rpm_per_edge_s(unit, pulses_per_rev, rpm) * jitter_s(noise, unit);
  const double wander = noise.wander_rpm;
  const double kept = wander > 0 ? std::exp(-1 / (hz * noise.wander_s)) : 0;

  if (width_rpm == 0) {
    const double variance = wander * wander * wander_correlation(kept, pulses, 0) + edge_sd * edge_sd;
    if (variance == 0) return 0;
    const auto at = [&](std::size_t lag) {
      const double edges = lag == pulses ? -edge_sd * edge_sd / 2 : 0;
      return cycles_without_deadband((wander * wander * wander_correlation(kept, pulses, lag) + edges) /
                                     variance);
    };
    // Where readings fall between pulses, some are one pulse further apart.
    const double whole = std::floor(apart);
    const auto lag = static_cast<std::size_t>(whole);
    return changes_per_cycle_min * ((1 - (apart - whole)) * at(lag) + (apart - whole) * at(lag + 1));
  }
  if (wander == 0) {
    if (edge_sd == 0) return 0;
    // Readings that share an edge are drawn to opposite sides, which counts the
    // more the wider the deadband.
    const bool share_no_edge = apart > static_cast<double>(pulses);
    if (!share_no_edge && (pulses < 4 || width_rpm > edge_sd)) return none;
    return changes_per_cycle_min * cycles_of_independent_readings(-width_rpm / 2, width_rpm / 2, edge_sd);
  }
  const bool slow = noise.wander_s * hz >= 10 * apart && pulses == 1;
  if (edge_sd > 0.02 * wander || !slow || width_rpm < wander / 2) return none;
  return 2 * 60 *
         cycles_of_sampled_ornstein_uhlenbeck(-width_rpm / 2, width_rpm / 2, wander, noise.wander_s,
                                              apart / hz);
}

}  // namespace tachproof
