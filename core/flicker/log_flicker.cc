#include "core/flicker/log_flicker.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <utility>

namespace tachproof {
namespace {

// One boundary as the log goes by: on at `rising` or above, off under `falling`.
class LoggedTrigger {
 public:
  LoggedTrigger(double rising, double falling, double rpm)
      : rising_(rising), falling_(falling), on_(rpm >= rising) {}

  // The instant between the two samples at which it changes; at most once, as the rpm is linear.
  std::optional<Nanos> pass(const LoggedRpm::Sample& a, const LoggedRpm::Sample& b) {
    const double level = on_ ? falling_ : rising_;
    if (on_ ? b.rpm >= level : b.rpm < level) return std::nullopt;
    on_ = !on_;
    const double share = b.rpm == a.rpm ? 0 : std::clamp((level - a.rpm) / (b.rpm - a.rpm), 0.0, 1.0);
    return a.at + std::llround(share * static_cast<double>(b.at - a.at));
  }

 private:
  double rising_, falling_;
  bool on_;
};

double narrowest_rpm(const Gauge& gauge) {
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t w = 1; w < gauge.windows.size(); ++w)
    least = std::min(least, gauge.windows[w].from_rpm - gauge.windows[w - 1].from_rpm);
  return least;
}

}  // namespace

std::vector<BoundaryFlicker> flicker_in_log(const Gauge& gauge, std::span<const LoggedRpm::Sample> log,
                                            double width_rpm, Nanos again_within) {
  Gauge with = gauge;
  with.deadband.rpm = width_rpm;
  std::vector<BoundaryFlicker> all;
  for (std::size_t b = 1; b < gauge.windows.size(); ++b) {
    BoundaryFlicker row{b};
    std::optional<Nanos> last, before_last;
    if (!log.empty()) {
      LoggedTrigger trigger(with.rising_rpm(b), with.falling_rpm(b), log.front().rpm);
      for (std::size_t i = 1; i < log.size(); ++i) {
        const std::optional<Nanos> at = trigger.pass(log[i - 1], log[i]);
        if (!at) continue;
        ++row.changes;
        if (before_last && *at - *before_last < again_within && row.flickers++ == 0)
          row.first_at = *before_last;
        before_last = std::exchange(last, at);
      }
    }
    all.push_back(row);
  }
  return all;
}

std::vector<WidthFlicker> flicker_by_width(const Gauge& gauge, std::span<const LoggedRpm::Sample> log,
                                           double step_rpm, double most_rpm, Nanos again_within) {
  const double below = narrowest_rpm(gauge);
  std::vector<WidthFlicker> curve;
  for (std::size_t k = 0; static_cast<double>(k) * step_rpm <= most_rpm; ++k) {
    WidthFlicker point{static_cast<double>(k) * step_rpm};
    if (k > 0 && point.width_rpm >= below) break;
    for (const BoundaryFlicker& row : flicker_in_log(gauge, log, point.width_rpm, again_within)) {
      point.changes += row.changes;
      point.flickers += row.flickers;
    }
    curve.push_back(point);
  }
  return curve;
}

}  // namespace tachproof
