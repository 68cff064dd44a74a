#include "bench/rigs/simulated/period_meter.h"

namespace tachproof {

PeriodMeter::PeriodMeter(const UnitSettings& settings, double timer_phase)
    : ticks_per_ns_(settings.timer_hz * 1e-9),
      timer_phase_(timer_phase),
      averaging_pulses_(static_cast<std::size_t>(settings.averaging_pulses)),
      averaging_(settings.averaging),
      signal_lost_(settings.signal_lost) {}

void PeriodMeter::take(std::span<const Nanos> pulses) {
  const std::size_t in_use = std::max(first_, still_averaged());
  constexpr std::size_t worth_moving = 4096;
  if (in_use >= worth_moving && in_use >= pulses_.size() / 2) {
    pulses_.erase(pulses_.begin(), pulses_.begin() + static_cast<std::ptrdiff_t>(in_use));
    first_ = 0;
    oldest_ = oldest_ > in_use ? oldest_ - in_use : 0;
    captured_ -= in_use;
  }
  pulses_.insert(pulses_.end(), pulses.begin(), pulses.end());
}

// No later reading looks further back than this.
std::size_t PeriodMeter::still_averaged() const {
  if (averaging_ > 0) return oldest_;
  return captured_ > averaging_pulses_ ? captured_ - averaging_pulses_ - 1 : 0;
}

}  // namespace tachproof
