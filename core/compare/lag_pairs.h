// Two runs that were played the same train, demand by demand.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "core/judge/result.h"

namespace tachproof {

// One demand in both runs. `lag_s`: after less before, each from its own nominal
// instant, so that a boundary that was moved on purpose has no lag by that.
struct LagPair {
  std::size_t boundary = 0;
  Direction direction = Direction::rising;
  double rate_rpm_per_s = 0;  // of the profile, signed; 0: a step
  double lag_s = 0;
  double before_s = 0, after_s = 0;  // the nominal instants
};

// A row of one run matches one of the other when boundary, direction and order
// agree, and the profile went past at the same rate (to 1 %). `names`: each boundary
// as it is called before and after. Nothing for a transition that either
// run has no row of, or did not see.
struct PairedName {
  std::size_t boundary = 0;
  std::string before, after;
};
std::vector<LagPair> lag_pairs(const RunResult& before, const RunResult& after,
                               const std::vector<PairedName>& names);

// A step counts as a ramp that is so fast that no threshold shows in it.
inline constexpr double as_fast_as_a_step = 1e6;  // rpm/s
double rate_of(const LagPair& pair);              // signed, of a step too

}  // namespace tachproof
