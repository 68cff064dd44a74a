// Threshold and response, each measured by itself.
//
// A change seen at t was decided at t - L, L the unit's response, so the
// threshold is r(t - L). In one visit a high threshold and a slow response look
// the same; visits at different rates, or steps, separate them: for constant rates
// observed = threshold + rate * L, a weighted line (GUM, JCGM 100:2008, H.3 for a
// fitted line). L may differ up and down and a little from boundary to boundary
// (core/judge/response_model.h); what the gauge allows of it (rectangular over
// [from, to]) is one more observation.
//
// How far visits scatter, and so how seldom the unit updates and how noisy it
// is, is found from the visits as well (core/judge/scatter.h). Every scatter
// that the evidence leaves possible is gone through and counts by its
// likelihood, up to the update period for which the allowed response leaves
// room; an interval holds 95 % of all of that together. Few visits leave much
// possible.
#pragma once

#include <cstddef>
#include <vector>

#include "core/judge/bench_facts.h"
#include "core/judge/result.h"
#include "core/judge/scatter.h"
#include "core/judge/visit.h"

namespace tachproof {

struct ThresholdFit {
  double threshold_rpm = not_measured;
  double expanded_uncertainty_rpm = not_measured;  // coverage 95 %
  double response_s = not_measured;                // of this direction; NaN unless measured
  double response_uncertainty_s = not_measured;    // expanded, 95 %
  int visits = 0;
  std::vector<BudgetLine> budget;  // of the threshold
  double coverage_factor = not_measured;
  double dof = not_measured;
};

struct FitSetup {
  double response_from_s = 0, response_to_s = 0;  // what the gauge allows
  double rpm_noise = 0;                           // standard, of the true rpm at a crossing, per visit
  double pulses_per_rev = 0;                      // of the signal; 0: pulses are never slow
  BenchUncertainty bench;                         // its tick is within each visit's timing_s
  bool operator==(const FitSetup&) const = default;
};

// Rising less falling threshold. What both share of the clock cancels; of the
// response, what the visits leave in common.
struct WidthFit {
  double width_rpm = not_measured;
  double expanded_uncertainty_rpm = not_measured;
  double coverage_factor = not_measured;
  double dof = not_measured;
};

// What this run's ramps, or else its steps, show of the response, whatever the
// gauge allows.
struct ResponseFit {
  double response_s = not_measured;
  double expanded_uncertainty_s = not_measured;  // coverage 95 %
  double coverage_factor = not_measured;
  int visits = 0;
  bool measured = false;  // else nothing separates it from the threshold, and all is NaN
};

// Where a boundary's threshold in one direction stands in a list of both.
constexpr std::size_t way_of(std::size_t boundary, Direction direction) {
  return 2 * boundary + (direction == Direction::falling ? 1 : 0);
}

// fits[way_of(boundary, direction)]; boundaries count from 1.
struct ThresholdFits {
  std::vector<ThresholdFit> fits;
  // Mean threshold of rising and falling, in which a response that is the same
  // up and down cancels.
  std::vector<ThresholdFit> middles;   // [boundary]
  std::vector<WidthFit> widths;        // [boundary]; not_measured unless both ways have visits
  std::vector<ResponseFit> responses;  // as fits
  double response_s = not_measured;    // of the whole unit
  bool responses_apart = false;        // the visits say that it differs up and down; else taken as one
  double response_scatter_s = 0;       // visit to visit, standard, as seen
  Scatter scatter;                     // of one visit, seen or assumed
  double scatter_dof = 0;              // that the residuals carry together
  bool scatter_seen = false;           // there were enough visits to measure it
};
ThresholdFits fit_thresholds(const std::vector<Visit>& visits, std::size_t boundaries, const FitSetup& setup);

}  // namespace tachproof
