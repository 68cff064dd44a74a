// A profile that shows all a gauge's settings, made from the gauge alone: a slow ramp across each
// boundary, both ways; a rest in each window; enough blinks; jumps over all boundaries, which
// tell a slow response from a high threshold.
#pragma once

#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/signal/profile.h"

namespace tachproof {

// What may be made longer or shorter.
struct ProofShape {
  std::vector<double> rate_rpm_per_s;  // of the ramps across each boundary; [0] is not used
  int passes = 0;                      // up and down; every other one is quicker
  Nanos rest = 0;                      // in each window, before the ramp that leaves it
  int blinks = 0;                      // periods for which each blinking window is shown
  int jumps = 0;                       // over all boundaries, each way
  Nanos jump_rest = 0;                 // after each of them
};

// Slow enough that the longest response that is allowed is worth this share of the tolerance.
ProofShape proof_shape(const Gauge& gauge, double share = 0.5);

// Steps that belong together, and what they are for: one line.
struct ProofPart {
  std::string about;
  std::vector<Step> steps;  // holds and ramps by rate, in round numbers
};

// Boundaries that lie too near each other to rest between them are crossed in one ramp, at the
// slowest of their rates. Empty for a gauge without boundaries.
std::vector<ProofPart> proof_parts(const Gauge& gauge, const ProofShape& shape);
std::vector<Step> steps_of(const std::vector<ProofPart>& parts);

}  // namespace tachproof
