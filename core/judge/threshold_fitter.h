// The working of fit_thresholds(): not for others.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "core/base/mixture.h"
#include "core/judge/response_model.h"
#include "core/judge/threshold_budget.h"
#include "core/judge/thresholds.h"

namespace tachproof {

// Before the visits: how much the response differs up and down, from boundary to
// boundary (if only because pulses come slower at some), and for each way past each.
struct ResponseAssumption {
  double between_s, own_s, odd_s, apart_s, share;
  bool apart;
};

struct ScatterCell {
  Scatter scatter;
  double log_prior = 0, p = 0;  // p: share of all that the evidence leaves possible
  double p_any = 0;             // the same where every update period that is allowed is as likely beforehand
  std::vector<double> shares;   // of the assumptions, within the cell
  std::vector<BoundaryPasses> passes;  // summed with this scatter
};

// Evenly spaced logarithms.
struct LogAxis {
  double low = 0, step = 0;
  int points = 1;
  double at(int i) const { return low + step * i; }
};

class ThresholdFitter {
 public:
  ThresholdFitter(const std::vector<Visit>& visits, std::size_t boundaries, const FitSetup& setup);
  ThresholdFits fits();

 private:
  static double squared(double x) { return x * x; }

  using Ways = std::array<std::vector<const Visit*>, 2>;

  void take_steps();
  void take_pulses();
  void make_linear();
  void assume();
  ResponsePrior prior(const Scatter& scatter, const ResponseAssumption& assumption) const;
  std::vector<BoundaryPasses> passes(const Scatter& scatter) const;
  void weigh(const LogAxis& rpm, const LogAxis& s);
  LogAxis narrowed(const LogAxis& axis, bool rpm, int points) const;
  void follow();
  ResponseFit response(std::size_t b, std::size_t d, const Mixture& ramps) const;

  // All that the cells leave possible together, by way or by boundary.
  struct Sums {
    std::vector<Mixture> thresholds, responses, ramps, middles, widths;
    double log_rpm = 0, log_s = 0, log_rpm2 = 0, log_s2 = 0, apart = 0, kept = 0, response_s = 0;
    const ScatterCell* likeliest = nullptr;
  };
  double steps_rpm(std::size_t b, std::size_t d) const;
  void add_model(const ResponseModel& model, const ResponseModel& alone, double p, double p_any,
                 Sums& sums) const;
  Sums summed() const;
  void take_scatter(const Sums& sums, ThresholdFits& out) const;
  void take_rows(const Sums& sums, ThresholdFits& out) const;

  std::size_t boundaries_;
  const FitSetup& setup_;
  std::vector<Ways> at_;  // [boundary]
  std::vector<Ways> steps_;
  std::array<double, 2> step_s_{}, step_u_s_{-1, -1};
  std::vector<double> pulse_s2_, slower_s_;
  std::vector<std::array<double, 2>> about_s_;  // where visits are made linear
  std::vector<std::array<std::vector<LinearVisit>, 2>> linear_;
  std::vector<std::array<std::vector<BenchParts>, 2>> parts_;
  std::vector<ResponseAssumption> assumptions_;
  std::vector<ScatterCell> cells_;
  double span_s_, common_s_, dof_ = 0, early_share_ = 0, early_u_ = 0, widest_rpm_ = 3;
  bool seen_ = false, may_differ_ = true;
  std::size_t odd_way_ = ResponsePrior::no_way;
};

}  // namespace tachproof
