// What a unit's updates do to many visits of a run at once.
//
// A unit that renews its lamps every P waits for its next update at every visit: 0 to
// P, rectangular, by where the visit falls between two updates. The train is the same in
// both runs, but the unit's clock is not in step with it: its phase is one unknown for
// each run. Two visits that fall d apart between updates wait alike, or as unlike as can
// be: over all phases their waits have the covariance
//
//     P^2 / 12 * (1 - 6 x (1 - x)),    x = d / P less its whole part
//
// (the second Bernoulli polynomial; M. Abramowitz, I. A. Stegun, "Handbook of
// Mathematical Functions", 23.1). So no number of visits at one phase takes a shift of
// all of them off, and visits at many phases do.
#pragma once

#include <array>
#include <vector>

#include "core/compare/lag_pairs.h"

namespace tachproof {

struct UpdatesOfRuns {
  std::array<double, 2> period_s{};  // before and after
  bool seen = false;                 // found in both runs (core/compare/update_period.h), the same in both
  // What visits of each run scatter by in rpm whatever the rate, as the run states it; standard.
  // Where it states none: rounding to 1 rpm (rectangular, GUM 4.3.7).
  std::array<double, 2> scatter_rpm{0.29, 0.29};

  // Of the difference of two visits, one a run: standard, and the most that it can be.
  double standard_s() const;
  double bound_s() const;
};

// A sum of the pairs' lags, each with its weight.
using Weights = std::vector<double>;

// Variance of the sum by the updates of both runs. A threshold that is off by some rpm moves the
// instant at which the unit is asked, the more the slower the ramp. So two visits make up for
// each other only as far as that leaves their instants known: to what visits scatter by, at
// least to rounding to 1 rpm.
double variance_by_updates(const Weights& weights, const std::vector<LagPair>& pairs,
                           const UpdatesOfRuns& updates);

}  // namespace tachproof
