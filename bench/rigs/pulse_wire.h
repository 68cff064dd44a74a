// The wire from a source to a simulated unit: pulses that are past the source
// and have not reached the unit yet, and what is done to the unit meanwhile.
#pragma once

#include <vector>

#include "core/base/time.h"
#include "core/signal/profile.h"

namespace tachproof {

struct PulseWire {
  std::vector<Nanos> pulses;
  std::vector<Action> actions;  // presses and the supply; here before played_until reaches them
  Nanos played_until = 0;
};

// An output of so many pulses a second, for a wire: phase-continuous, as a
// synthesiser changes its frequency.
class EvenPulses {
 public:
  // From `at` on, which does not go back. 0: none.
  void frequency(Nanos at, double hz, PulseWire& wire) {
    run_until(at, wire);
    hz_ = hz;
  }
  void run_until(Nanos t, PulseWire& wire) {
    if (t <= now_) return;
    const double cycles = phase_ + hz_ * to_seconds(t - now_);
    for (double k = 1; k <= cycles; ++k) wire.pulses.push_back(now_ + from_seconds((k - phase_) / hz_));
    phase_ = cycles - static_cast<double>(static_cast<Nanos>(cycles));
    now_ = t;
    wire.played_until = t;
  }

 private:
  Nanos now_ = 0;
  double hz_ = 0, phase_ = 0;  // cycles since the last pulse
};

}  // namespace tachproof
