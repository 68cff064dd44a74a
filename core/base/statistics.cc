#include "core/base/statistics.h"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <limits>

#include "core/base/portable_math.h"

namespace tachproof {

double student_t(double coverage, double dof) {
  const double p = 0.5 + coverage / 2;
  if (!(dof < 1e7)) return boost::math::quantile(boost::math::normal(), p);
  return boost::math::quantile(boost::math::students_t(dof), p);
}

// The tail below is good to 8e-8 only.
double normal_density(double z) {
  return portable::exp_to_9_digits(-std::min(z * z / 2, 600.0)) * 0.3989422804014327;
}

NormalTail normal_tail(double z) {
  const double density = normal_density(z), t = 1 / (1 + 0.2316419 * std::abs(z));
  const double above =
      density * t *
      (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  return {density, z < 0 ? 1 - above : above};
}

double normal_above(double z) { return normal_tail(z).above; }

void WelchSatterthwaite::add(double u, double dof) {
  sum2_ += u * u;
  if (std::isfinite(dof)) sum4_over_dof_ += u * u * u * u / dof;
}

double WelchSatterthwaite::combined() const { return std::sqrt(sum2_); }

double WelchSatterthwaite::dof() const {
  if (sum4_over_dof_ == 0) return std::numeric_limits<double>::infinity();
  return sum2_ * sum2_ / sum4_over_dof_;
}

double poisson_lower(std::uint64_t n, double coverage) {
  if (n == 0) return 0;
  const boost::math::chi_squared chi2(2.0 * static_cast<double>(n));
  return boost::math::quantile(chi2, (1 - coverage) / 2) / 2;
}

double poisson_upper(std::uint64_t n, double coverage) {
  const boost::math::chi_squared chi2(2.0 * static_cast<double>(n) + 2.0);
  return boost::math::quantile(boost::math::complement(chi2, (1 - coverage) / 2)) / 2;
}

Verdict decide(double deviation, double u, double lowest, double highest) {
  if (deviation - u >= lowest && deviation + u <= highest) return Verdict::pass;
  if (deviation + u < lowest || deviation - u > highest) return Verdict::fail;
  return Verdict::undecided;
}

}  // namespace tachproof
