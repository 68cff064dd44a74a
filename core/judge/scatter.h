// How far a unit's visits to its boundaries scatter.
//
// A unit's readings are noisy (in rpm, whatever the rate), and it looks at them
// only now and then, a period P apart, at any phase (rectangular in time, GUM
// 4.3.7: standard deviation P / sqrt 12, so times the rate in rpm). A noisy
// unit that is crossed slowly, less than its noise from reading to reading, has
// several chances to change: it does so early, and scatters less than its noise.
#pragma once

#include "core/judge/result.h"

namespace tachproof {

struct Scatter {
  double rpm2 = 0;      // of one reading, rpm squared
  double s2 = 0;        // P^2 / 12, seconds squared
  double rpm2_dof = 0;  // 2 x^2 / var(x) of the estimate x; infinite when assumed
  double s2_dof = 0;

  double variance(double rate_rpm_per_s) const;  // of the rpm at which one visit changes
};

// The first of equally spaced normal readings to reach a threshold, at a rate
// of x standard deviations of the noise from reading to reading: how far
// before the threshold and half a step it comes, in the mean (`early`), and the
// square of its standard deviation (`spread2`), both in units of the noise.
// Summed exactly over the readings and all phases, at powers of two of x; lines
// between them.
struct FirstPassage {
  double early = 0, spread2 = 0;
};
FirstPassage first_passage(double log2_x);

// By how much, in rpm, a noisy unit changes early.
double early_by_noise_rpm(const Scatter& scatter, double rate_rpm_per_s);

}  // namespace tachproof
