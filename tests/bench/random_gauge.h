// Gauges that nobody designed, and the dice they are drawn with.
#pragma once

#include <cmath>
#include <cstdint>

#include "core/base/random.h"
#include "core/gauge/gauge.h"

namespace tachproof {

class Dice {
 public:
  explicit Dice(std::uint64_t seed, std::uint64_t stream) : random_(seed, stream) {}

  double between(double low, double high) { return low + (high - low) * random_.uniform(); }
  double log_between(double low, double high) { return low * std::pow(high / low, random_.uniform()); }
  int whole(int low, int high) { return low + static_cast<int>(random_.uniform() * (high - low + 1)); }
  std::size_t index(std::size_t size) {
    return static_cast<std::size_t>(random_.uniform() * static_cast<double>(size));
  }
  bool chance(double probability) { return random_.uniform() < probability; }
  double sign() { return chance(0.5) ? 1 : -1; }

 private:
  Random random_;
};

// Any gauge that `check` accepts and that a unit can follow: 2 to 16 lamps of
// one to three colours, 3 to 24 windows, the lowest boundary down to five
// pulse periods a second, neighbours down to a hair above the deadband, a
// deadband of 0 to 20 rpm that sits anywhere, 0.5 to 6 pulses per revolution,
// mostly with blinking windows, half of them with a count-in. Neighbours show
// now and then the same cue, or one that differs by blinking alone.
Gauge random_gauge(Dice& dice);

// A picture that both cues show: lamps alone cannot always tell them apart.
bool share_a_picture(const Cue& a, const Cue& b);

}  // namespace tachproof
