#include "core/base/capability.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace tachproof {

Capability capability(std::span<const double> values, double lower, double upper) {
  constexpr double nan = std::numeric_limits<double>::quiet_NaN();
  Capability c{values.size(), nan, nan, nan, nan, nan};
  if (values.empty()) return c;
  const auto n = static_cast<double>(values.size());
  double sum = 0;
  for (const double value : values) sum += value - values[0];  // near zero: nothing is rounded away
  c.mean = values[0] + sum / n;
  if (values.size() < 2) return c;
  double squares = 0;
  for (const double value : values) squares += (value - c.mean) * (value - c.mean);
  c.s = std::sqrt(squares / (n - 1));
  c.cpk = std::min(upper - c.mean, c.mean - lower) / (3 * c.s);
  if (!std::isfinite(c.cpk)) return c;
  constexpr double z = 1.959963984540054;  // normal, two-sided 95 %
  const double half = z * std::sqrt(1 / (9 * n) + c.cpk * c.cpk / (2 * (n - 1)));
  c.cpk_lower = c.cpk - half;
  c.cpk_upper = c.cpk + half;
  return c;
}

}  // namespace tachproof
