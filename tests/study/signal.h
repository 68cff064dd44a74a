// The tach line as a wire carries it: pulses, and what spoils them.
#pragma once

#include <vector>

#include "tests/study/draw.h"
#include "tests/study/road.h"

namespace tachproof::study {

struct Spoiled {
  double jitter_us = 0;  // standard deviation of each pulse
  double missing = 0;    // share of the pulses
  double doubled = 0;    // share of the pulses that come twice,
  double doubled_after_us = 300;
  double bounce = 0;               // share of the pulses whose contact bounces,
  double bounce_us = 0;            // for up to so long
  double tach_glitches_per_s = 0;  // EMI, 0.1 to 5 us
  double lamp_glitches_per_s = 0;  // the same, on all lamp lines together
  bool odd_pulses() const { return missing > 0 || doubled > 0 || tach_glitches_per_s > 0; }
  bool any() const { return jitter_us > 0 || odd_pulses() || bounce > 0 || lamp_glitches_per_s > 0; }
};

struct TachLine {
  std::vector<double> toggles;  // the level goes to and fro, from low
  std::vector<double> rises;    // every one of them, bounce and glitches too
  std::vector<double> odd;      // when a pulse was missing, doubled or none of the engine's
};

// Ideal pulses to a line. Glitches and bounce are between 0 and `until_s`.
TachLine spoil(const std::vector<double>& pulses, const Spoiled& by, double until_s, Draw& draw);
// The same for pulses that somebody else spoiled.
TachLine as_line(const std::vector<double>& pulses);

}  // namespace tachproof::study
