// Two components of scatter from squared residuals: one in rpm whatever the rate, one in
// time (so times the rate in rpm). One residual at rate v has the variance
//
//     rpm^2 + (v * s)^2 + what the bench itself adds.
//
// Both terms are fitted by weighted least squares, each residual's square having the
// variance 2 sigma^4 (normal scatter), as in the method of scoring for variance
// components (S. R. Searle, G. Casella, C. E. McCulloch, "Variance Components", 1992,
// from memory).
#pragma once

#include <span>

namespace tachproof {

struct VarianceParts {
  double rpm2 = 0;      // rpm squared
  double s2 = 0;        // seconds squared
  double rpm2_dof = 0;  // 2 x^2 / var(x) of the estimate x
  double s2_dof = 0;

  double variance(double rate_rpm_per_s) const { return rpm2 + s2 * rate_rpm_per_s * rate_rpm_per_s; }
};

struct Residual {
  double rpm = 0;             // observed less fitted
  double rate_rpm_per_s = 0;  // of the profile there
  double leverage = 0;        // 0..1: how much the fit followed it
  double bench_rpm2 = 0;      // variance that the bench adds
};

// `now`: from the last iteration. Terms never go below a tenth of the
// smallest that any unit shows (0.02 rpm, 0.1 ms): residuals may agree by chance.
VarianceParts refine_parts(std::span<const Residual> residuals, const VarianceParts& now);

// Degrees of freedom that residuals carry together.
double residual_dof(std::span<const Residual> residuals);

}  // namespace tachproof
