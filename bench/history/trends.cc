#include "bench/history/trends.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

namespace tachproof {

const DriftPoint* Drift::last() const {
  const auto found =
      std::find_if(points.rbegin(), points.rend(), [](const DriftPoint& p) { return p.decided; });
  return found == points.rend() ? nullptr : &*found;
}

const DriftPoint* Drift::first() const {
  const DriftPoint* earliest = last();
  for (const DriftPoint* p = earliest; p != nullptr && p->settings_sha256 == earliest->settings_sha256;
       p = p == points.data() ? nullptr : p - 1)
    if (p->decided) earliest = p;
  return earliest;
}

bool Drift::settings_changed() const {
  return first() != nullptr && points.front().settings_sha256 != first()->settings_sha256;
}

std::size_t Drift::undecided() const {
  return static_cast<std::size_t>(
      std::count_if(points.begin(), points.end(), [](const DriftPoint& p) { return !p.decided; }));
}

double Drift::change_rpm() const {
  return last() == nullptr ? not_measured : last()->deviation_rpm - first()->deviation_rpm;
}

double Drift::change_uncertainty_rpm() const {
  return last() == nullptr ? not_measured
                           : std::hypot(first()->expanded_uncertainty_rpm, last()->expanded_uncertainty_rpm);
}

std::vector<Drift> drifts(const std::vector<HistoryRun>& runs) {
  std::vector<Drift> all;
  std::map<std::tuple<std::string, std::string, bool, std::string, Direction>, std::size_t> places;
  for (const HistoryRun& run : runs) {
    if (!run.complete || run.unit_serial.empty()) continue;
    for (const HistoryBoundary& b : run.boundaries) {
      const double deviation_rpm = b.threshold_rpm - b.nominal_rpm;
      if (!std::isfinite(deviation_rpm) || !std::isfinite(b.expanded_uncertainty_rpm)) continue;
      const auto [place, is_new] = places.try_emplace(
          {run.gauge, run.unit_serial, run.simulated, b.boundary, b.direction}, all.size());
      if (is_new)
        all.push_back({run.gauge, run.unit_serial, run.simulated, b.boundary, b.direction, not_measured, {}});
      Drift& drift = all[place->second];
      drift.tolerance_rpm = run.tolerance_rpm;
      drift.points.push_back({run.started_s, deviation_rpm, b.expanded_uncertainty_rpm, run.gauge_sha256,
                              b.verdict != Verdict::undecided});
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
