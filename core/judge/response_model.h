// Thresholds and responses of all boundaries at once, for one assumed scatter.
//
// The response of boundary b in direction d is
//
//     L(b, d) = M + D/2 (rising) or - D/2 (falling) + E(b) + F(b, d),
//
// M the unit's, D what it differs by up and down, E(b) ~ N(0, between^2) what it
// differs by from boundary to boundary, F(b, d) ~ N(0, own^2) what each way past a
// boundary has for itself, as lamps of several kinds make it. A visit at rate v gives
// a = T(b, d) + v L(b, d) + scatter. All is normal and linear, so thresholds,
// responses and the likelihood of the assumptions follow in closed form
// (A. Gelman et al., "Bayesian Data Analysis", 5.4 and 14.8, from memory).
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "core/judge/scatter.h"
#include "core/judge/visit.h"

namespace tachproof {

// A visit made linear about a response: a = r(t - L0) + v L0.
struct LinearVisit {
  double a = 0, v = 0;
  double log2_rate = 0;
  double bench_rpm2 = 0;  // variance that the bench adds
};

// What the visits of one boundary in one direction say of T and L.
struct PassSums {
  int visits = 0;
  double sum_w = 0, mean_a = 0, mean_v = 0;
  double lever = 0, lever_a = 0, rest = 0;  // sums of w dv^2, w dv da, w da^2
  double mean_early = 0, lever_early = 0;   // the same of changes that come early
  double half_log_w = 0;                    // of all weights
};
// `early_share`: of the early changes that white noise would make, taken off.
PassSums sum_passes(const std::vector<LinearVisit>& visits, Direction direction, const Scatter& scatter,
                    double early_share);

struct ResponsePrior {
  static constexpr std::size_t no_way = static_cast<std::size_t>(-1);
  double mean_s = 0, u_s = 1;    // of M
  double apart_s = 0;            // standard, of D
  double between_s = 0;          // standard, of E
  double own_s = 0;              // standard, of F;
  std::size_t odd_way = no_way;  // of this one, 2 b + d, it is odd_s
  double odd_s = 0;
  // Steps: what they say of M + D/2 and M - D/2; u <= 0: nothing.
  std::array<double, 2> step_s{}, step_u_s{-1, -1};
};

struct BoundaryPasses {
  std::array<PassSums, 2> ways;  // rising, falling
  double slower_s = 0;           // standard: E differs by this more, its pulses being slow
  bool on_its_own = false;       // ... so much that M says nothing of it
};

// Of one boundary: means, (co)variances, and by how much each moves when
// changes come early by all of what noise allows.
struct BoundaryTold {
  std::array<double, 2> threshold{}, response{}, early_rpm{}, early_s{};
  std::array<double, 2> threshold_var{}, response_var{};
  double threshold_cov = 0;
};

class ResponseModel {
 public:
  ResponseModel(const std::vector<BoundaryPasses>& boundaries, const ResponsePrior& prior);
  double log_likelihood() const { return log_likelihood_; }
  double response_s(std::size_t way) const;  // M +- D/2
  double response_var() const { return covariance_[0][0]; }
  double apart_s() const { return mean_[1]; }
  double apart_information() const { return apart_information_; }  // of D, from visits alone, 1/s^2
  BoundaryTold told(std::size_t index) const;
  // The way whose visits, by themselves, say a response that is the most standard uncertainties from what
  // they and all others say together; no_way where there are too few to tell which one is odd.
  std::size_t oddest_way() const;

 private:
  using Pair = std::array<double, 2>;
  struct Own {
    // Of each way: F takes so much of what its visits say, and adds so much variance.
    Pair kept{1, 1}, added{};
    Pair sum_ju{};  // sum of lever * (d L / d (M, D))
    double total = 0, sum_h = 0, sum_h_early = 0, offset = 0;
    bool coupled = true;
  };
  Pair by(const Own& own, std::size_t way) const;

  const std::vector<BoundaryPasses>& boundaries_;
  std::vector<Own> own_;
  Pair mean_{}, mean_early_{};
  std::array<Pair, 2> covariance_{};
  double log_likelihood_ = 0, apart_information_ = 0;
};

}  // namespace tachproof
