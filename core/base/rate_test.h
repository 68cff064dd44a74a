// Is a rate of events under a limit? Decided while the events are counted.
#pragma once

#include <cstdint>

#include "core/base/verdict.h"

namespace tachproof {

// Wald's sequential test of a Poisson rate (A. Wald, Sequential Analysis, 1947,
// from memory): `good` against `bad`, good < bad, both per unit of time. With N
// events in time t it says
//
//     fail  when N >= slope t + ln((1 - false_pass) / false_fail) / g,
//     pass  when N <= slope t + ln(false_pass / (1 - false_fail)) / g,
//
// g = ln(bad / good), slope = (bad - good) / g; between the lines it goes on. A
// chance of 0 takes its line away, and the other keeps its promise exactly:
// P(pass | rate >= bad) <= false_pass, however long one waits (Ville's
// inequality), and likewise for fail.
class PoissonSequential {
 public:
  PoissonSequential(double good, double bad, double false_fail, double false_pass);

  double slope() const { return slope_; }
  double fail_above() const { return fail_above_; }  // the intercepts, at t = 0
  double pass_below() const { return pass_below_; }
  double earliest_pass() const;  // the time at which no event at all is a pass
  // Wald's expected sample number, here a time: how long until the line of the
  // pass, or of the fail, is met by events of this rate, the overshoot of whole
  // events left out. Infinite where such a rate does not lead there.
  double expected_pass(double rate) const;
  double expected_fail(double rate) const;
  Verdict decide(double events, double time) const;  // undecided: goes on

 private:
  double slope_;
  double fail_above_;
  double pass_below_;
};

// Limits of a Poisson mean at which `n` events are just credible on one side:
// the exact upper and lower limits, each with `confidence` (Garwood's two-sided
// limits of coverage 2 confidence - 1). `n` need not be whole.
double one_sided_upper(double n, double confidence);
double one_sided_lower(double n, double confidence);  // 0 for n <= 0

// A rate against one limit, with at most 1 - confidence of false passes for
// units at or above the limit, and as many false fails for units at or below
// it. Half of that chance goes to two sequential tests, of half the limit and
// of twice the limit, which end clear cases early; half goes to the exact
// Poisson limits at the planned end.
class RateTest {
 public:
  // limit_per_min > 0, 0 < confidence < 1. `planned_min`: when it will end.
  // `dispersion` >= 1: events come in bursts, their variance is so many times
  // their mean; each counts as one part in that many, and so does the time.
  RateTest(double limit_per_min, double confidence, double planned_min, double dispersion = 1);

  // Before the end: only what the sequential tests say. From the planned end
  // on: what either says.
  Verdict decide(std::uint64_t events, double minutes) const;

  // The two halves of decide(), for evidence that is not worth the same for both:
  // a count taken where the rate may be lower than where it matters proves a fail
  // by all of its time, and a pass by less.
  bool is_under(double events, double minutes, bool ended) const;
  bool is_over(double events, double minutes, bool ended) const;
  double planned_min() const { return planned_min_; }

  // Minutes until a unit without any event passes.
  double earliest_pass_min() const;
  // So many events are a fail after so many minutes, before the end.
  double events_that_fail(double minutes) const;
  // Minutes that the sequential test of the nearer decision needs on average for
  // events of this rate, see PoissonSequential; infinite between the two.
  double expected_min(double rate_per_min) const;

  // Below this many minutes not even a unit without an event could pass.
  static double shortest_min(double limit_per_min, double confidence);

 private:
  double limit_per_min_;
  double confidence_;
  double planned_min_;
  double dispersion_;
  PoissonSequential good_;
  PoissonSequential bad_;
};

}  // namespace tachproof
