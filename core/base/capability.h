// How well the spread of several units fits between their limits.
#pragma once

#include <cstddef>
#include <span>

namespace tachproof {

struct Capability {
  std::size_t n = 0;
  double mean = 0;
  double s = 0;  // standard deviation, n - 1; NaN for fewer than two values
  // min(upper - mean, mean - lower) / (3 s): NIST/SEMATECH e-Handbook, 6.1.6.
  // From the overall s, which some call Ppk. NaN when s is NaN; infinite when
  // s is 0 inside the limits.
  double cpk = 0;
  // 95 % limits of cpk, z = 1.96, same page: approximate, and rough below n = 25.
  double cpk_lower = 0;
  double cpk_upper = 0;
};

// `values` are finite, `lower` < `upper`. No values: all NaN but n.
Capability capability(std::span<const double> values, double lower, double upper);

}  // namespace tachproof
