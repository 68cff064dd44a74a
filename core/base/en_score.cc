#include "core/base/en_score.h"

#include <algorithm>
#include <cmath>

#include "core/base/statistics.h"
#include "core/base/verdict.h"

namespace tachproof {

double en_score(double x, double reference, double expanded_x, double expanded_reference) {
  const double u = std::hypot(expanded_x, expanded_reference);
  return u > 0 ? (x - reference) / u : not_measured;
}

double en_limit_among(int count, double dof) {
  constexpr double coverage = 0.95, chance = 0.01;
  const double at_least_one = std::max(dof, 1.0);
  return count > 1 ? student_t(1 - chance / count, at_least_one) / student_t(coverage, at_least_one) : 1;
}

}  // namespace tachproof
