// Sample moments for tests (two passes, so that large means lose nothing).
#pragma once

#include <cmath>
#include <span>
#include <vector>

namespace tachproof::test {

inline double mean(std::span<const double> x) {
  double sum = 0;
  for (const double v : x) sum += v;
  const double rough = sum / static_cast<double>(x.size());
  double rest = 0;
  for (const double v : x) rest += v - rough;
  return rough + rest / static_cast<double>(x.size());
}

// Sum of products of deviations `lag` apart.
inline double deviation_products(std::span<const double> x, std::size_t lag) {
  const double m = mean(x);
  double sum = 0;
  for (std::size_t i = lag; i < x.size(); ++i) sum += (x[i] - m) * (x[i - lag] - m);
  return sum;
}

inline double sd(std::span<const double> x) {
  return std::sqrt(deviation_products(x, 0) / static_cast<double>(x.size() - 1));
}

inline double autocorrelation(std::span<const double> x, std::size_t lag) {
  return deviation_products(x, lag) / deviation_products(x, 0);
}

}  // namespace tachproof::test
