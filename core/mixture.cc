#include "core/mixture.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace tachproof {
namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

// Degrees of freedom for which Student's t is k, by lines in 1 / dof between powers.
double dof_of(double k) {
  constexpr std::size_t points = 41;  // 1 .. 1000
  static const std::array<double, points> factors = [] {
    std::array<double, points> out{};
    for (std::size_t i = 0; i < points; ++i)
      out[i] = student_t(0.95, std::pow(10.0, 3.0 * static_cast<double>(i) / (points - 1)));
    return out;
  }();
  if (k >= factors.front()) return 1;
  for (std::size_t i = 1; i < points; ++i)
    if (k >= factors[i]) {
      const double part = (factors[i - 1] - k) / (factors[i - 1] - factors[i]);
      return std::pow(10.0, 3.0 * (static_cast<double>(i - 1) + part) / (points - 1));
    }
  return infinite;
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
