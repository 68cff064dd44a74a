// A dwell: what is asked of one, and whether there is time for it.
#pragma once

#include "core/base/rate_test.h"
#include "core/base/time.h"
#include "core/gauge/gauge.h"

namespace tachproof {

// Each boundary is held until its flicker is decided, or for `longest`.
struct Dwell {
  double limit_per_min = 1;  // lamp changes
  double confidence = 0.95;
  Nanos longest = 0;  // of the hold that decides, at each boundary

  // Changes come in pairs: up and down again. Cycles are what is independent.
  double cycles_limit_per_min() const { return limit_per_min / 2; }
  // `dispersion`: of cycles that come in bursts, see RateTest.
  RateTest test(double dispersion) const {
    return RateTest(cycles_limit_per_min(), confidence, to_seconds(longest) / 60, dispersion);
  }
  // With less, not even a unit that never flickers could pass.
  Nanos shortest() const {
    return from_seconds(60 * RateTest::shortest_min(cycles_limit_per_min(), confidence));
  }
};

}  // namespace tachproof
