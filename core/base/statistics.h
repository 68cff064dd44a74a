// The statistics that verdicts rest on, each with its source.
#pragma once

#include <cstdint>
#include <limits>

#include "core/base/verdict.h"

namespace tachproof {

inline constexpr double infinite = std::numeric_limits<double>::infinity();  // as degrees of freedom too

// Two-sided coverage factor of Student's t: P(|T| <= t) = coverage.
// JCGM 100:2008 (GUM), annex G, table G.2. dof > 0; infinity gives the normal.
double student_t(double coverage, double dof);

// Of the standard normal distribution: its density, and P(Z > z) (M. Abramowitz,
// I. A. Stegun, "Handbook of Mathematical Functions", 26.2.17; within 8e-8).
double normal_density(double z);
double normal_above(double z);
struct NormalTail {
  double density = 0, above = 0;
};
NormalTail normal_tail(double z);  // both for the price of one

// Effective degrees of freedom, GUM G.4, for components (u_i, dof_i): call
// `add` for each and read `dof`.
class WelchSatterthwaite {
 public:
  void add(double standard_uncertainty, double dof);
  double combined() const;  // root of the sum of squares
  double dof() const;       // infinity when no component has a finite one

 private:
  double sum2_ = 0, sum4_over_dof_ = 0;
};

// Exact two-sided limits of a Poisson mean after n events (Garwood,
// Biometrika 28 (1936) 437): coverage 0.95 leaves 2.5 % on either side.
double poisson_lower(std::uint64_t n, double coverage);
double poisson_upper(std::uint64_t n, double coverage);

// Guard-banded decision with w = U (ILAC-G8:09/2019, JCGM 106:2012): pass when
// deviation -+ U lies inside [lowest, highest], fail when it lies outside,
// else undecided. NaN anywhere is undecided.
Verdict decide(double deviation, double expanded_uncertainty, double lowest, double highest);

}  // namespace tachproof
