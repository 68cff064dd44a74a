#include "core/base/mixture.h"
#include "core/base/statistics.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace tachproof {
namespace {

// Degrees of freedom, 1 to 1000, for which Student's t is k: it falls as they grow.
double dof_of(double k) {
  constexpr int halvings = 16;  // of three powers of ten
  double low = 0, high = 3;
  if (k >= student_t(0.95, 1)) return 1;
  if (k < student_t(0.95, 1000)) return infinite;
  for (int i = 0; i < halvings; ++i) {
    const double middle = (low + high) / 2;
    (student_t(0.95, std::pow(10.0, middle)) > k ? low : high) = middle;
  }
  return std::pow(10.0, (low + high) / 2);
}

}  // namespace

double coverage_factor(double dof) { return std::isfinite(dof) ? student_t(0.95, std::max(dof, 1.0)) : 2.0; }

double Mixture::Summary::k() const { return coverage_factor(dof); }

Mixture::Summary Mixture::summary() const {
  Summary out;
  double all = 0;
  for (const Part& p : parts_) {
    all += p.share;
    out.mean += p.share * p.mean;
  }
  out.mean /= all;
  double precision = 0, variance = 0;
  for (const Part& p : parts_) {
    const double v = p.variance + (p.mean - out.mean) * (p.mean - out.mean);
    precision += p.share / all / v;
    variance += p.share / all * v;
  }
  // Newton's method for the half-width, kept between bounds.
  double low = 0, high = 20 * std::sqrt(variance), half = 2 * std::sqrt(variance);
  for (int i = 0; i < 40; ++i) {
    double outside = 0, slope = 0;
    for (const Part& p : parts_) {
      const double sd = std::sqrt(p.variance), up = (out.mean + half - p.mean) / sd,
                   down = (p.mean - out.mean + half) / sd;
      outside += p.share / all * (normal_above(up) + normal_above(down));
      slope += p.share / all * (normal_density(up) + normal_density(down)) / sd;
    }
    (outside > 0.05 ? low : high) = half;
    double next = half + (outside - 0.05) / std::max(slope, 1e-300);
    if (!(next > low && next < high)) next = (low + high) / 2;
    const bool there = std::abs(next - half) < 1e-4 * half;
    half = next;
    if (there) break;
  }
  // Scaled inverse chi-squared: the mean of 1 / variance is 1 / its scale.
  out.standard = 1 / std::sqrt(precision);
  const double k = half / out.standard;
  out.dof = dof_of(k);
  // Student's t for that many is k; beyond 1000 it is 2, which no interval may fall below.
  out.standard = half / (std::isfinite(out.dof) ? k : std::min(k, 2.0));
  if (std::isfinite(out.dof)) out.standard = half / coverage_factor(out.dof);
  return out;
}

}  // namespace tachproof
