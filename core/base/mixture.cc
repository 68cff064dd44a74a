#include "core/base/mixture.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <functional>
#include <iterator>
#include <limits>

#include "core/base/portable_math.h"
#include "core/base/statistics.h"
#include "core/base/student_table.h"

namespace tachproof {
namespace {

constexpr double least_dof = 1;
double node_width() { return portable::log(most_student_dof) / static_cast<double>(student_nodes - 1); }

// Of the four nodes about this one, or the nearest four, the first.
std::size_t first_of(std::size_t before) { return std::clamp<std::size_t>(before, 1, student_nodes - 3) - 1; }

// Lagrange's cubic through them, `x` nodes after the first.
double cubic(std::size_t first, double x) {
  const double* const y = log_beyond_normal + first;
  return -y[0] * (x - 1) * (x - 2) * (x - 3) / 6 + y[1] * x * (x - 2) * (x - 3) / 2 -
         y[2] * x * (x - 1) * (x - 3) / 2 + y[3] * x * (x - 1) * (x - 2) / 6;
}

double student_factor(double dof) {
  const double place = portable::log(dof) / node_width();
  const std::size_t first = first_of(static_cast<std::size_t>(place));
  return normal_factor + portable::exp(cubic(first, place - static_cast<double>(first)));
}

// For which the factor is that, from 1 on; infinite beyond the table.
double dof_of(double factor) {
  if (!(factor > normal_factor)) return infinite;
  const double wanted = portable::log(factor - normal_factor);
  if (wanted >= *std::begin(log_beyond_normal)) return least_dof;
  if (wanted < *std::rbegin(log_beyond_normal)) return infinite;
  const double* const node =
      std::lower_bound(std::begin(log_beyond_normal), std::end(log_beyond_normal), wanted, std::greater<>());
  const auto before = static_cast<std::size_t>(node - log_beyond_normal) - 1;
  const std::size_t first = first_of(before);
  double low = static_cast<double>(before - first), high = low + 1;
  for (int halving = 0; halving < 30; ++halving) {
    const double middle = (low + high) / 2;
    (cubic(first, middle) > wanted ? low : high) = middle;
  }
  return portable::exp((static_cast<double>(first) + low) * node_width());
}

}  // namespace

double coverage_factor(double dof) {
  if (!std::isfinite(dof)) return 2.0;
  return dof > most_student_dof ? student_t(0.95, dof) : student_factor(std::max(dof, least_dof));
}

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
  // Newton's method for the half-width, kept between bounds. Its last step of a thousandth leaves a
  // millionth.
  constexpr double no_share = 1e-9, last_step = 2e-3;
  double low = 0, high = 20 * std::sqrt(variance), half = 2 * std::sqrt(variance);
  struct Likely {
    double share, per_sd, off;  // off: its mean from that of all, in standard deviations
  };
  std::vector<Likely> likely;
  likely.reserve(parts_.size());
  for (const Part& p : parts_)
    if (p.share >= no_share * all) {
      const double per_sd = 1 / std::sqrt(p.variance);
      likely.push_back({p.share / all, per_sd, (p.mean - out.mean) * per_sd});
    }
  for (int i = 0; i < 40; ++i) {
    double outside = 0, slope = 0;
    for (const Likely& p : likely) {
      const NormalTail right = normal_tail(half * p.per_sd - p.off),
                       left = normal_tail(half * p.per_sd + p.off);
      outside += p.share * (right.above + left.above);
      slope += p.share * (right.density + left.density) * p.per_sd;
    }
    (outside > 0.05 ? low : high) = half;
    double next = half + (outside - 0.05) / std::max(slope, 1e-300);
    if (!(next > low && next < high)) next = (low + high) / 2;
    const bool there = std::abs(next - half) < last_step * half;
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
