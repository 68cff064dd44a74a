// Threshold and response, told apart.
//
// A change seen at t was decided at t - L, L the unit's response, so the
// threshold is r(t - L). One visit cannot tell a high threshold from a slow
// response; visits at different rates, or steps, can. Per boundary the fit has
// three unknowns (rising threshold, falling threshold, L) and solves
//
//     r_i(t_i - L) = threshold(direction_i) + noise,   weighted least squares,
//
// by Gauss-Newton; for constant rates this is the weighted line
// observed = threshold + rate * L (GUM, JCGM 100:2008, H.3 for a fitted line).
// What is known of L beforehand enters as one more observation: first that the
// gauge's tolerance allows it (rectangular over [from, to]), then what the other
// boundaries and the steps of the same run say.
//
// How far visits scatter is told from the visits, once there are enough of them
// (core/scatter.h); before, a unit that rounds to 1 rpm and updates every 10 ms
// is assumed, and scatter beyond that widens the uncertainty.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "core/result.h"
#include "core/scatter.h"
#include "core/time.h"

namespace tachproof {

// One crossing of one boundary as seen.
struct Visit {
  std::size_t boundary = 0;
  Direction direction = Direction::rising;
  // r at t, t - h, t - 2h, ...: the profile before the change.
  static constexpr std::size_t samples = 33;
  std::array<double, samples> rpm_before{};
  double spacing_s = 0;  // h
  double timing_s = 0;   // standard uncertainty of t
  bool step = false;     // r jumped over the threshold: tells L, not the threshold
  double step_response_s = 0;

  double rpm(double response_s) const;    // r(t - response)
  double slope(double response_s) const;  // dr/dt there
  // The profile kept about one rate for every response from..to: a visit near
  // a corner tells a threshold only to someone who knows the response.
  bool keeps_its_rate(double from_s, double to_s) const;
};

struct ThresholdFit {
  double threshold_rpm = not_measured;
  double expanded_uncertainty_rpm = not_measured;  // coverage 95 %
  double response_s = not_measured;
  double response_uncertainty_s = not_measured;  // expanded, 95 %
  int visits = 0;
  std::vector<BudgetLine> budget;  // of the threshold
  double coverage_factor = not_measured;
  double dof = not_measured;
};

struct FitSetup {
  double response_from_s = 0, response_to_s = 0;  // what the gauge allows
  double clock_share = 0;                         // standard uncertainty of the source's clock, relative
  double rpm_noise = 0;                           // standard, of the true rpm at a crossing, per visit
  double source_tick_s = 0;                       // standard, within each visit's timing_s
  // Bounds, not standard, and the same way for all visits at worst: the rpm
  // played at t is that of an instant this near to t, give or take source_rpm.
  double source_lag_s = 0, source_rpm = 0;
  double stamp_offset_s = 0;  // standard, the same for all visits: looks like response
  double pulses_per_rev = 0;  // of the signal; 0: pulses are never slow
};

// Rising less falling threshold, with their covariance.
struct WidthFit {
  double width_rpm = not_measured;
  double expanded_uncertainty_rpm = not_measured;
  double coverage_factor = not_measured;
  double dof = not_measured;
};

// What ramps and steps of this run show of the response: not what the gauge allows.
struct ResponseFit {
  double response_s = not_measured;
  double expanded_uncertainty_s = not_measured;
  double coverage_factor = not_measured;
  int visits = 0;
  bool measured = false;
};

// fits[2 * boundary + (falling ? 1 : 0)]; boundaries count from 1.
struct ThresholdFits {
  std::vector<ThresholdFit> fits;
  // Mean threshold of rising and falling, in which the response cancels.
  std::vector<ThresholdFit> middles;   // [boundary]
  std::vector<WidthFit> widths;        // [boundary]
  std::vector<ResponseFit> responses;  // as fits
  double response_s = not_measured;    // of the whole unit
  double response_scatter_s = 0;       // visit to visit, standard, as seen
  Scatter scatter;                     // of one visit, seen or assumed
  double scatter_dof = 0;              // that the residuals carry together
  bool scatter_seen = false;           // there were enough to tell it
};
ThresholdFits fit_thresholds(const std::vector<Visit>& visits, std::size_t boundaries, const FitSetup& setup);

}  // namespace tachproof
