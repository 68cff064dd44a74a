#include "core/judge/scatter.h"

#include <algorithm>
#include <cmath>
#include <iterator>

#include "core/base/portable_math.h"

namespace tachproof {
namespace {

constexpr int first_power = -9, last_power = 3;
constexpr double early_at[] = {2.6720, 2.4513, 2.2169, 1.9670, 1.6998, 1.4147, 1.1129,
                               0.8008, 0.4947, 0.2273, 0.0507, 0.0010, 0.0000};
constexpr double spread_at[] = {0.3786, 0.4005, 0.4263, 0.4569, 0.4938, 0.5388, 0.5948,
                                0.6659, 0.7597, 0.8930, 1.1084, 1.5262, 2.5166};

double log2_of_step(const Scatter& s, double rate) {
  // 12 s2 rate^2 / rpm2, and half its logarithm.
  return 0.5 * portable::log(std::max(12 * s.s2 * rate * rate / s.rpm2, 1e-12)) * 1.4426950408889634;
}

}  // namespace

FirstPassage first_passage(double log2_x) {
  if (log2_x >= last_power) {
    const double x2 = portable::exp(2 * 0.6931471805599453 * std::min(log2_x, 100.0));
    return {0, 1 + x2 / 12};
  }
  const double at = std::max(log2_x - first_power, 0.0);
  // Just below the last power the difference rounds to the last place.
  const auto k = std::min(static_cast<std::size_t>(at), std::size(spread_at) - 2);
  const double part = at - static_cast<double>(k);
  const double spread = spread_at[k] + part * (spread_at[k + 1] - spread_at[k]);
  return {early_at[k] + part * (early_at[k + 1] - early_at[k]), spread * spread};
}

double Scatter::variance(double rate) const {
  return rpm2 > 0 ? rpm2 * first_passage(log2_of_step(*this, rate)).spread2 : s2 * rate * rate;
}

double early_by_noise_rpm(const Scatter& scatter, double rate) {
  if (!(scatter.rpm2 > 0)) return 0;
  return std::sqrt(scatter.rpm2) * first_passage(log2_of_step(scatter, rate)).early;
}

}  // namespace tachproof
