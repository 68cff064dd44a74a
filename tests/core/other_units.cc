#include "tests/core/other_units.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace tachproof::other_units {

std::string name(Kind kind) {
  switch (kind) {
    case Kind::ordinary: return "ordinary, 100 Hz";
    case Kind::exponential_filter: return "exponential filter";
    case Kind::fixed_gate: return "fixed gate";
    case Kind::tracking_loop: return "tracking loop";
    case Kind::updates_20_hz: return "20 updates a second";
    case Kind::updates_12_hz: return "12 updates a second";
    case Kind::noisy: return "noisy, 0.5 rpm";
    case Kind::apart: return "6 and 55 ms up and down";
    case Kind::slow_rise: return "slow rise only";
  }
  return "";
}

std::vector<Plan> plans() {
  return {{"acceptance", 9, {12, 8, 100}}, {"few visits", 1, {12, 8, 100}}, {"survey", 9, {500, 77}, 5, 3}};
}

double Unit::uniform(double low, double high) {
  return std::uniform_real_distribution<double>(low, high)(random_);
}

Unit::Unit(Kind kind, std::mt19937_64& random) : kind_(kind), random_(random) {
  output_s_[0] = output_s_[1] = uniform(0.001, 0.006);
  switch (kind) {
    case Kind::ordinary: lag_s_ = uniform(0.010, 0.025); break;
    case Kind::exponential_filter:
      lag_s_ = uniform(0.005, 0.040);
      period_s_ = uniform(0.005, 0.020);
      break;
    case Kind::fixed_gate:
      period_s_ = uniform(0.040, 0.070);
      lag_s_ = period_s_ / 2;
      break;
    case Kind::tracking_loop:
      loop_hz_ = uniform(4, 10);
      period_s_ = uniform(0.005, 0.020);
      noise_rpm_ = uniform(0, 0.3);
      break;
    case Kind::updates_20_hz:
      lag_s_ = uniform(0.002, 0.020);
      period_s_ = 0.050;
      break;
    case Kind::updates_12_hz:
      lag_s_ = uniform(0.002, 0.020);
      period_s_ = 1 / 12.0;
      break;
    case Kind::noisy:
      lag_s_ = uniform(0.005, 0.020);
      noise_rpm_ = 0.5;
      break;
    case Kind::apart: {
      const std::size_t slow = uniform(0, 1) < 0.5 ? 0 : 1;
      output_s_[slow] = 0.050;
      output_s_[1 - slow] = 0.001;
      break;
    }
    case Kind::slow_rise: output_s_[0] = uniform(0.060, 0.090); break;
  }
}

double Unit::mean_response_s(Direction direction) const {
  // A loop of natural frequency w and damping z lags a ramp by 2 z / w; z = 0.7.
  const double lag = loop_hz_ > 0 ? 1.4 / (2 * std::numbers::pi * loop_hz_) : lag_s_;
  return lag + period_s_ / 2 + output_s_[direction == Direction::falling];
}

double Unit::changes_after(double rate, Direction direction) {
  const double out = output_s_[direction == Direction::falling];
  const double phase = uniform(0, period_s_);
  std::normal_distribution<double> normal(0, 1);
  // From far enough below, in units of the direction of travel.
  const double from_s = -0.5 - 8 * noise_rpm_ / rate;
  double t = std::floor(from_s / period_s_) * period_s_ + phase;
  if (kind_ == Kind::tracking_loop) {
    // x'' = w^2 (r - x) - 2 z w x', in steps of a millisecond, from rest on the ramp;
    // its noise: white into the same filter, scaled to the standard deviation wanted.
    const double w = 2 * std::numbers::pi * loop_hz_, z = 0.7, h = 0.001;
    double x = rate * (t - 2 * z / w), v = rate, n = 0, nv = 0;
    // Of white noise through w^2 / (s^2 + 2 z w s + w^2): variance = w S / (4 z), S per hertz two-sided.
    const double drive = noise_rpm_ * std::sqrt(4 * z / w / h);
    for (int settle = 0; settle < 1000; ++settle) {
      nv += h * (w * w * (drive * normal(random_) - n) - 2 * z * w * nv);
      n += h * nv;
    }
    for (double next = t;; t += h) {
      if (t >= next) {
        if (x + n >= 0) return t + out;
        next += period_s_;
      }
      v += h * (w * w * (rate * t - x) - 2 * z * w * v);
      x += h * v;
      nv += h * (w * w * (drive * normal(random_) - n) - 2 * z * w * nv);
      n += h * nv;
    }
  }
  // A filter of time constant lag on a ramp, and the mean over a gate of twice
  // the lag, both read r(t - lag).
  for (;; t += period_s_)
    if (rate * (t - lag_s_) + noise_rpm_ * normal(random_) >= 0) return t + out;
}

Visit visit(Unit& unit, std::size_t boundary, Direction direction, double threshold, double rate) {
  const double after = unit.changes_after(rate, direction);
  Visit v;
  v.boundary = boundary;
  v.direction = direction;
  v.spacing_s = 0.150 / (Visit::samples - 1);
  v.timing_s = 20e-6;
  const double sign = direction == Direction::rising ? 1 : -1;
  for (std::size_t k = 0; k < Visit::samples; ++k)
    v.rpm_before[k] = threshold + sign * rate * (after - v.spacing_s * static_cast<double>(k));
  return v;
}

Coverage coverage(Kind kind, const Plan& plan, int units, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  Coverage out;
  FitSetup setup = allowed;
  setup.pulses_per_rev = 3;
  for (int u = 0; u < units; ++u) {
    Unit unit(kind, random);
    std::vector<Visit> visits;
    std::vector<double> truth(2 * (plan.boundaries + 1));
    for (std::size_t b = 1; b <= plan.boundaries; ++b)
      for (const Direction d : {Direction::rising, Direction::falling}) {
        double& threshold = truth[2 * b + (d == Direction::falling)];
        threshold = 3000 + 500.0 * static_cast<double>(b) - (d == Direction::falling ? 7 : 0);
        threshold += std::uniform_real_distribution<double>(-1, 1)(random);
        for (const double rate : plan.rates) visits.push_back(visit(unit, b, d, threshold, rate));
        for (int more = b == plan.often ? plan.more : 0; more > 0; --more)
          visits.push_back(visit(unit, b, d, threshold, plan.rates.back()));
      }
    const ThresholdFits fits = fit_thresholds(visits, plan.boundaries, setup);
    for (std::size_t i = 2; i < truth.size(); ++i) {
      ++out.intervals;
      const ThresholdFit& fit = fits.fits[i];
      out.sum_u_rpm += fit.expanded_uncertainty_rpm;
      if (std::abs(fit.threshold_rpm - truth[i]) <= fit.expanded_uncertainty_rpm) ++out.held;
    }
#ifndef WITHOUT_WIDTHS
    for (std::size_t b = 1; b <= plan.boundaries; ++b) {
      ++out.widths;
      const WidthFit& width = fits.widths[b];
      if (std::abs(width.width_rpm - (truth[2 * b] - truth[2 * b + 1])) <= width.expanded_uncertainty_rpm)
        ++out.widths_held;
      for (std::size_t i = 2 * b; i < 2 * b + 2; ++i) {
        const ResponseFit& response = fits.responses[i];
        if (!response.measured) continue;
        ++out.responses;
        const double true_s = unit.mean_response_s(i % 2 == 0 ? Direction::rising : Direction::falling);
        if (std::abs(response.response_s - true_s) <= response.expanded_uncertainty_s) ++out.responses_held;
      }
    }
#endif
  }
  return out;
}

}  // namespace tachproof::other_units
