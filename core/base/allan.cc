#include "core/base/allan.h"

#include <cmath>
#include <limits>

namespace tachproof {
namespace {

constexpr double too_short = std::numeric_limits<double>::quiet_NaN();

// Of second differences over m spacings, begun every `stride`.
double deviation(std::span<const double> x, double spacing_s, std::size_t m, std::size_t stride) {
  if (m == 0 || x.size() < 2 * m + 1) return too_short;
  double squares = 0;
  std::size_t terms = 0;
  for (std::size_t i = 0; i + 2 * m < x.size(); i += stride, ++terms) {
    const double d = x[i + 2 * m] - 2 * x[i + m] + x[i];
    squares += d * d;
  }
  return std::sqrt(squares / (2 * static_cast<double>(terms))) / (static_cast<double>(m) * spacing_s);
}

}  // namespace

double allan_deviation(std::span<const double> phase, double spacing_s, std::size_t m) {
  return deviation(phase, spacing_s, m, m);
}

double overlapping_allan_deviation(std::span<const double> phase, double spacing_s, std::size_t m) {
  return deviation(phase, spacing_s, m, 1);
}

double modified_allan_deviation(std::span<const double> x, double spacing_s, std::size_t m) {
  if (m == 0 || x.size() < 3 * m) return too_short;
  double sum = 0;  // of m second differences
  for (std::size_t i = 0; i < m; ++i) sum += x[i + 2 * m] - 2 * x[i + m] + x[i];
  double squares = sum * sum;
  const std::size_t terms = x.size() - 3 * m + 1;
  for (std::size_t j = 1; j < terms; ++j) {
    sum += x[j + 3 * m - 1] - 3 * x[j + 2 * m - 1] + 3 * x[j + m - 1] - x[j - 1];
    squares += sum * sum;
  }
  const double span = static_cast<double>(m);
  return std::sqrt(squares / (2 * static_cast<double>(terms))) / (span * span * spacing_s);
}

double expected_allan_deviation(double t_s, double jitter_s, double wander_share, double tau_s) {
  double square = 3 * jitter_s * jitter_s / (t_s * t_s);
  if (wander_share > 0) {
    const double u = t_s / tau_s;
    // Below this the difference of nearly equal terms is all rounding.
    const double shape = u < 1e-3 ? 2 * u / 3 : (2 * u - 3 + 4 * std::exp(-u) - std::exp(-2 * u)) / (u * u);
    square += wander_share * wander_share * shape;
  }
  return std::sqrt(square);
}

}  // namespace tachproof
