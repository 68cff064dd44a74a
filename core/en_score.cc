#include "core/en_score.h"

#include <cmath>
#include <limits>

#include "core/result.h"
#include "core/statistics.h"

namespace tachproof {

double en_score(double x, double reference, double expanded_x, double expanded_reference) {
  const double u = std::hypot(expanded_x, expanded_reference);
  return u > 0 ? (x - reference) / u : not_measured;
}

double en_limit_among(int count) {
  constexpr double infinite = std::numeric_limits<double>::infinity();
  constexpr double coverage = 0.95;
  return count > 1 ? student_t(1 - (1 - coverage) / count, infinite) / student_t(coverage, infinite) : 1;
}

}  // namespace tachproof
