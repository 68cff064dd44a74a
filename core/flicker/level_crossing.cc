#include "core/flicker/level_crossing.h"

#include <algorithm>
#include <boost/math/quadrature/gauss.hpp>
#include <cmath>
#include <limits>
#include <numbers>

namespace tachproof {

double erfi(double x) {
  // x^(2n+1) / (n! (2n+1)): all terms of one sign, so nothing cancels.
  const double xx = x * x;
  double power = x;  // x^(2n+1) / n!
  double sum = x;
  for (int n = 1; std::isfinite(sum); ++n) {
    power *= xx / n;
    const double term = power / (2 * n + 1);
    if (n > xx && std::abs(term) <= 1e-17 * std::abs(sum)) break;
    sum += term;
  }
  return 2 * std::numbers::inv_sqrtpi * sum;
}

double cycles_of_independent_readings(double lower, double upper, double sd) {
  const double p = 0.5 * std::erfc(upper / (sd * std::numbers::sqrt2));
  const double q = 0.5 * std::erfc(-lower / (sd * std::numbers::sqrt2));
  return p + q > 0 ? p * q / (p + q) : 0;
}

double rice_up_crossings_per_s(double level, double sd, double slope_sd) {
  return slope_sd / (2 * std::numbers::pi * sd) * std::exp(-level * level / (2 * sd * sd));
}

double cycles_without_deadband(double r) {
  return std::acos(std::clamp(r, -1.0, 1.0)) / (2 * std::numbers::pi);
}

double up_crossings_of_readings(double level, double sd, double r) {
  const double far = level * level / (sd * sd);
  const double angle = std::acos(std::clamp(r, -1.0, 1.0));
  // 1 + cos a is 2 cos^2(a/2), which keeps its digits near half a turn.
  const auto density = [far](double a) {
    const double half = std::cos(a / 2);
    return std::exp(-far / (2 * half * half));
  };
  return boost::math::quadrature::gauss<double, 30>::integrate(density, 0.0, angle) / (2 * std::numbers::pi);
}

double cycles_of_ornstein_uhlenbeck(double lower, double upper, double sd, double tau_s) {
  const double unit = sd * std::numbers::sqrt2;
  const double above = erfi(upper / unit);
  const double below = erfi(lower / unit);
  // Both beyond what a double holds: rarer than anything that is ever counted.
  if (!std::isfinite(above) || !std::isfinite(below)) return 0;
  return 1 / (std::numbers::pi * tau_s * (above - below));
}

double cycles_of_sampled_ornstein_uhlenbeck(double lower, double upper, double sd, double tau_s,
                                            double reading_s) {
  // -zeta(1/2) / sqrt(2 pi).
  constexpr double mean_overshoot = 0.5825971579390106;
  const double late = mean_overshoot * sd * std::sqrt(2 * reading_s / tau_s);
  return cycles_of_ornstein_uhlenbeck(lower - late, upper + late, sd, tau_s);
}

}  // namespace tachproof
