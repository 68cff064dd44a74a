#include "core/plan/survey_narrow.h"
#include "core/base/rpm.h"

#include <algorithm>
#include <cmath>

namespace tachproof {
namespace {

constexpr double narrow_rpm = 12;
constexpr double edge_rpm = 2;      // beyond tolerance and deadband
constexpr double slowest_pass = 2;  // rpm per second

Nanos whole_ms(Nanos t) { return std::max((t + ns_per_ms / 2) / ns_per_ms, Nanos{1}) * ns_per_ms; }

}  // namespace

NarrowWindows::NarrowWindows(const Gauge& gauge)
    : settled_(gauge.tolerance.response_to + gauge.tolerance.settle) {
  const double edge = gauge.tolerance.rpm + gauge.deadband.rpm + edge_rpm;
  for (std::size_t w = 1; w < gauge.boundaries(); ++w) {
    const double low = gauge.windows[w].from_rpm, high = gauge.windows[w + 1].from_rpm;
    if (high - low > narrow_rpm) continue;
    const double rate = std::max((high - low) / to_seconds(shown), slowest_pass);
    if (!clusters_.empty() && clusters_.back().high >= low - edge) {
      clusters_.back().high = high + edge;
      clusters_.back().rate = std::min(clusters_.back().rate, rate);
    } else {
      clusters_.push_back({std::max(low - edge, 1.0), high + edge, rate});
    }
  }
}

double NarrowWindows::unhurried(double rpm_per_s, double low_rpm, double high_rpm) const {
  for (const Cluster& c : clusters_)
    if (high_rpm > c.low && low_rpm < c.high) rpm_per_s = std::min(rpm_per_s, c.rate);
  return rpm_per_s;
}

std::vector<Step> NarrowWindows::unhurried(double from_rpm, std::vector<Step> steps) const {
  if (clusters_.empty()) return steps;
  std::vector<Step> out;
  for (const Step& step : steps) {
    const auto* hold = std::get_if<Hold>(&step);
    const double to = hold != nullptr ? hold->rpm : std::get<RampByTime>(step).to_rpm;
    std::vector<Cluster> on_the_way;
    if (hold != nullptr)
      for (const Cluster& c : clusters_)
        if (std::max(from_rpm, to) > c.low && std::min(from_rpm, to) < c.high) on_the_way.push_back(c);
    if (to < from_rpm) std::reverse(on_the_way.begin(), on_the_way.end());
    for (const Cluster& c : on_the_way) {
      const double enter = hundredths(std::clamp(from_rpm, c.low, c.high));
      const double leave = hundredths(std::clamp(to, c.low, c.high));
      if (enter == leave) continue;
      if (enter != from_rpm) out.push_back(Hold{enter, whole_ms(settled_)});
      out.push_back(RampByTime{leave, whole_ms(from_seconds(std::abs(leave - enter) / c.rate))});
      from_rpm = leave;
    }
    out.push_back(step);
    from_rpm = to;
  }
  return out;
}

}  // namespace tachproof
