// How far a unit's visits to its boundaries scatter, told from the visits.
//
// A unit rounds and is noisy (in rpm, whatever the rate), and it looks at its
// reading only now and then (in time, so times the rate in rpm). One visit at
// rate v has the variance
//
//     rpm^2 + (v * s)^2 + what the bench itself adds.
//
// Both terms are fitted to squared residuals by weighted least squares, each
// residual's square having the variance 2 sigma^4 (normal scatter), as in the
// method of scoring for variance components (S. R. Searle, G. Casella,
// C. E. McCulloch, "Variance Components", 1992, from memory).
#pragma once

#include <span>

namespace tachproof {

struct Scatter {
  double rpm2 = 0;      // rpm squared
  double s2 = 0;        // seconds squared
  double rpm2_dof = 0;  // 2 x^2 / var(x) of the estimate x; infinite when assumed
  double s2_dof = 0;

  double variance(double rate_rpm_per_s) const { return rpm2 + s2 * rate_rpm_per_s * rate_rpm_per_s; }
};

struct Residual {
  double rpm = 0;             // observed less fitted
  double rate_rpm_per_s = 0;  // of the profile there
  double leverage = 0;        // 0..1: how much the fit followed this visit
  double bench_rpm2 = 0;      // variance that the bench adds
};

// `now`: from the last iteration. Terms never go below a tenth of the
// smallest that any unit shows (0.02 rpm, 0.1 ms): visits may agree by chance.
Scatter refine_scatter(std::span<const Residual> residuals, const Scatter& now);

// Degrees of freedom that residuals carry together.
double residual_dof(std::span<const Residual> residuals);

// A noisy unit that is crossed slowly has several chances to change, and does
// so early: by how much, in rpm. Fitted to a simulation of normal noise read at
// equal intervals (2e5 visits for each ratio): with p the share of the
// interval's spread in the whole, early = 3.2 (0.63 - p)^2 of the whole, within
// 0.05 of it for p > 0.15.
double early_by_noise_rpm(const Scatter& scatter, double rate_rpm_per_s);

}  // namespace tachproof
