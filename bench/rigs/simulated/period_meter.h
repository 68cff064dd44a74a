// Edge capture and period average of the simulated unit.
//
// A free-running timer stamps each pulse in whole timer ticks; the reading is
// the mean rate over the last periods, (t_i - t_(i-N)) / N. The mean rate over
// a span is the phase gained divided by its length, so on a ramp it is the rpm
// in the middle of the span: delayed, but not biased.
#pragma once

#include <algorithm>
#include <cstdint>
#include <span>
#include <vector>

#include "bench/rigs/simulated/unit_settings.h"
#include "core/base/time.h"

namespace tachproof {

struct MeterReading {
  std::int64_t ticks = 0;    // of the timer, over ...
  std::int64_t periods = 0;  // ... this many periods; 0: no reading yet
};

class PeriodMeter {
 public:
  // `timer_phase`: where in its tick the timer is at t = 0; 0 <= phase < 1.
  PeriodMeter(const UnitSettings& settings, double timer_phase);

  // Pulses that are coming, in time order. They wait until they are captured.
  void take(std::span<const Nanos> pulses);
  Nanos next_pulse() const { return captured_ < pulses_.size() ? pulses_[captured_] : never; }

  void capture_until(Nanos t) {
    while (captured_ < pulses_.size() && pulses_[captured_] <= t) {
      // The gap after a lost signal is no period.
      if (captured_ > first_ && pulses_[captured_] - pulses_[captured_ - 1] > signal_lost_)
        first_ = captured_;
      ++captured_;
    }
  }
  void forget() { first_ = oldest_ = captured_; }  // the supply failed

  // When the signal counts as lost unless another pulse comes; 0: it is lost.
  Nanos lost_after() const { return captured_ > first_ ? pulses_[captured_ - 1] + signal_lost_ : 0; }

  MeterReading latest() {
    if (captured_ < first_ + 2) return {};
    const std::size_t last = captured_ - 1;
    if (averaging_ > 0) {
      oldest_ = std::max(oldest_, first_);
      while (pulses_[oldest_] < pulses_[last] - averaging_) ++oldest_;
      oldest_ = std::min(oldest_, last - 1);
    } else {
      oldest_ = last - std::min(averaging_pulses_, last - first_);
    }
    return {stamp(pulses_[last]) - stamp(pulses_[oldest_]), static_cast<std::int64_t>(last - oldest_)};
  }

 private:
  std::size_t still_averaged() const;
  std::int64_t stamp(Nanos t) const {
    return static_cast<std::int64_t>(static_cast<double>(t) * ticks_per_ns_ + timer_phase_);
  }

  double ticks_per_ns_;
  double timer_phase_;
  std::size_t averaging_pulses_;
  Nanos averaging_;
  Nanos signal_lost_;
  std::vector<Nanos> pulses_;
  std::size_t first_ = 0;     // of the pulses since the signal came back
  std::size_t oldest_ = 0;    // of the pulses that are averaged
  std::size_t captured_ = 0;  // pulses_[captured_] is still to come
};

}  // namespace tachproof
