#include "bench/history/trends.h"

#include <algorithm>
#include <cmath>

namespace tachproof {

double Drift::change_uncertainty_rpm() const {
  return std::hypot(points.front().expanded_uncertainty_rpm, points.back().expanded_uncertainty_rpm);
}

std::vector<Drift> drifts(const std::vector<HistoryRun>& runs) {
  std::vector<Drift> all;
  for (const HistoryRun& run : runs) {
    if (!run.complete || run.unit_serial.empty()) continue;
    for (const HistoryBoundary& b : run.boundaries) {
      if (!std::isfinite(b.threshold_rpm) || !std::isfinite(b.expanded_uncertainty_rpm)) continue;
      const auto same = [&](const Drift& d) {
        return d.gauge == run.gauge && d.unit == run.unit_serial && d.simulated == run.simulated &&
               d.boundary == b.boundary && d.direction == b.direction;
      };
      auto drift = std::find_if(all.begin(), all.end(), same);
      if (drift == all.end())
        drift = all.insert(
            drift, {run.gauge, run.unit_serial, run.simulated, b.boundary, b.direction, not_measured, {}});
      drift->tolerance_rpm = run.tolerance_rpm;
      drift->points.push_back({run.started_s, b.threshold_rpm - b.nominal_rpm, b.expanded_uncertainty_rpm});
    }
  }
  return all;
}

std::vector<Spread> spreads(const std::vector<Drift>& drifts) {
  std::vector<Spread> all;
  for (const Drift& d : drifts) {
    const auto same = [&](const Spread& s) {
      return s.gauge == d.gauge && s.simulated == d.simulated && s.boundary == d.boundary &&
             s.direction == d.direction;
    };
    auto spread = std::find_if(all.begin(), all.end(), same);
    if (spread == all.end())
      spread =
          all.insert(spread, {d.gauge, d.simulated, d.boundary, d.direction, d.tolerance_rpm, {}, 0, {}});
    if (d.points.back().expanded_uncertainty_rpm <= d.tolerance_rpm)
      spread->deviations_rpm.push_back(d.points.back().deviation_rpm);
    else
      ++spread->left_out;
  }
  for (Spread& s : all) s.capability = capability(s.deviations_rpm, -s.tolerance_rpm, s.tolerance_rpm);
  return all;
}

}  // namespace tachproof
