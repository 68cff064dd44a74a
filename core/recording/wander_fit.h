// Jitter and wander out of the instants of pulses, by maximum likelihood.
//
// Pulse k of a steady train is off its even place by theta_k + J_k: J_k white,
// and theta the sum of -T w over the pulses before, w the engine's wander as a
// share of its speed, an AR(1) sequence. Constant, linear and quadratic trends
// of the phase are let go as diffuse states. The likelihood is the Kalman
// filter's (R. E. Kalman 1960; F. C. Schweppe 1965, from memory).
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace tachproof {

struct Interval {
  double low = 0;
  double high = 0;
};

struct WanderFit {
  double jitter_s = 0;  // standard deviations
  double wander_share = 0;
  double tau_s = 0;  // 0 when there is no wander
  // 95 %, from the curvature of the likelihood in the logarithms; of one that
  // cannot be distinguished from 0, from 0 to where the likelihood is 1.92
  // lower.
  Interval jitter_s_interval, wander_share_interval, tau_s_interval;
  std::vector<double> residuals;  // one-step errors over what they should be: white, sd 1
};

// `phase`: s off even spacing, NaN for a pulse that did not come; period_s their
// mean spacing. At least 100 pulses.
WanderFit fit_wander(std::span<const double> phase, double period_s);

}  // namespace tachproof
