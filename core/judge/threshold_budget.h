// What each source of uncertainty contributes to a threshold.
#pragma once

#include <vector>

#include "core/base/mixture.h"
#include "core/judge/response_model.h"
#include "core/judge/thresholds.h"

namespace tachproof {

// Where a visit's bench variance comes from, rpm squared.
struct BenchParts {
  double tick = 0, stamp = 0, blur = 0, rpm_noise = 0, source = 0, pulses = 0;
  double all() const { return tick + stamp + blur + rpm_noise + source + pulses; }
};
BenchParts bench_parts(const Visit& visit, double slope, double pulse_s2, const FitSetup& setup);

struct BudgetSource {
  const std::vector<LinearVisit>& visits;
  const std::vector<BenchParts>& parts;
  const Scatter& scatter;    // the likeliest
  double response_rpm2 = 0;  // rate x response
  double early_rpm = 0;      // standard
  double crystal_rpm = 0, steps_rpm = 0;
  bool seen = false;  // scatter is measured, not assumed
};
// Fills budget, coverage factor, degrees of freedom and U so that U is the
// budget added up (GUM 5.1.2, G.4) and the interval that `told` holds.
void take_budget(const BudgetSource& source, const Mixture::Summary& told, ThresholdFit& fit);

}  // namespace tachproof
