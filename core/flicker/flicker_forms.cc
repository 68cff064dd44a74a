#include <cmath>
#include <limits>
#include <numbers>

#include "core/flicker/flicker_reading.h"
#include "core/flicker/level_crossing.h"

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

// The readings as normal deviates: how wide, how far apart, how correlated.
class Readings {
 public:
  Readings(const Noise& noise, const UnitReading& unit, double pulses_per_rev, double rpm)
      : pulses_(averaged(unit)),
        hz_(pulses_per_s(pulses_per_rev, rpm)),
        apart_(pulses_per_reading(unit, pulses_per_rev, rpm)),
        edge_sd_(std::numbers::sqrt2 * rpm_per_edge_s(unit, pulses_per_rev, rpm) * jitter_s(noise, unit)),
        wander_(noise.wander_rpm),
        kept_(wander_ > 0 ? std::exp(-1 / (hz_ * noise.wander_s)) : 0),
        variance_(wander_ * wander_ * wander_correlation(kept_, pulses_, 0) + edge_sd_ * edge_sd_) {}

  std::size_t pulses() const { return pulses_; }
  double apart() const { return apart_; }  // pulses
  double apart_s() const { return apart_ / hz_; }
  double edge_sd() const { return edge_sd_; }
  double sd() const { return std::sqrt(variance_); }
  double changes_per_cycle_min() const { return 2 * 60 * hz_ / apart_; }

  // The mean of what a function gives for the correlation from one reading to
  // the next: where readings fall between pulses, some are one pulse further
  // apart.
  template <class Function>
  double mean_over_steps(const Function& of) const {
    const double whole = std::floor(apart_), part = apart_ - whole;
    const auto lag = static_cast<std::size_t>(whole);
    const double near = of(correlation(lag));
    return part == 0 ? near : (1 - part) * near + part * of(correlation(lag + 1));
  }

 private:
  double correlation(std::size_t lag) const {
    // Readings that are just as far apart as they average share one edge.
    const double edges = lag == pulses_ ? -edge_sd_ * edge_sd_ / 2 : 0;
    return (wander_ * wander_ * wander_correlation(kept_, pulses_, lag) + edges) / variance_;
  }

  std::size_t pulses_;
  double hz_, apart_, edge_sd_, wander_, kept_, variance_;
};

constexpr double none = std::numeric_limits<double>::quiet_NaN();

}  // namespace

double closed_form_per_min(const Noise& noise, const UnitReading& unit, double pulses_per_rev, double rpm,
                           double width_rpm) {
  if (!noise.replay.empty() || !noise.firing.empty()) return none;
  const Readings readings(noise, unit, pulses_per_rev, rpm);
  if (readings.sd() == 0) return 0;
  if (width_rpm == 0)
    return readings.changes_per_cycle_min() * readings.mean_over_steps(cycles_without_deadband);
  const double edge_sd = readings.edge_sd(), wander = noise.wander_rpm;
  if (wander == 0) {
    // Readings that share an edge are drawn to opposite sides, which counts the
    // more the wider the deadband.
    const bool share_no_edge = readings.apart() > static_cast<double>(readings.pulses());
    if (!share_no_edge && (readings.pulses() < 4 || width_rpm > edge_sd)) return none;
    return readings.changes_per_cycle_min() *
           cycles_of_independent_readings(-width_rpm / 2, width_rpm / 2, edge_sd);
  }
  const bool slow = noise.wander_s >= 10 * readings.apart_s() && readings.pulses() == 1;
  if (edge_sd > 0.02 * wander || !slow || width_rpm < wander / 2) return none;
  return 2 * 60 *
         cycles_of_sampled_ornstein_uhlenbeck(-width_rpm / 2, width_rpm / 2, wander, noise.wander_s,
                                              readings.apart_s());
}

double crossings_per_min(const Noise& noise, const UnitReading& unit, double pulses_per_rev, double rpm,
                         double width_rpm) {
  if (!noise.replay.empty() || !noise.firing.empty()) return none;
  const Readings readings(noise, unit, pulses_per_rev, rpm);
  if (readings.sd() == 0) return 0;
  return readings.changes_per_cycle_min() * readings.mean_over_steps([&](double r) {
    return up_crossings_of_readings(width_rpm / 2, readings.sd(), r);
  });
}

}  // namespace tachproof
