#include "core/base/mixture.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <functional>
#include <limits>

#include "core/base/portable_math.h"
#include "core/base/statistics.h"

namespace tachproof {
namespace {

// Student's t for 95 %, by degrees of freedom from 1 to 1000: what it has beyond the normal's factor is
// nearly a power of them, so that a cubic through four of these nodes, in logarithms, is within two
// millionths of it.
class StudentTable {
 public:
  StudentTable() {
    for (std::size_t i = 0; i < nodes; ++i)
      beyond_[i] = portable::log(student_t(0.95, portable::exp(static_cast<double>(i) * width())) - normal_);
  }

  double factor(double dof) const {
    const double place = portable::log(dof) / width();
    const std::size_t first = first_of(static_cast<std::size_t>(place));
    return normal_ + portable::exp(cubic(first, place - static_cast<double>(first)));
  }

  // For which the factor is that; infinite beyond the table.
  double dof(double factor) const {
    if (!(factor > normal_)) return infinite;
    const double wanted = portable::log(factor - normal_);
    if (wanted >= beyond_.front()) return least_dof;
    if (wanted < beyond_.back()) return infinite;
    const auto node = std::lower_bound(beyond_.begin(), beyond_.end(), wanted, std::greater<>());
    const std::size_t before = static_cast<std::size_t>(node - beyond_.begin()) - 1;
    const std::size_t first = first_of(before);
    double low = static_cast<double>(before - first), high = low + 1;
    for (int halving = 0; halving < 30; ++halving) {
      const double middle = (low + high) / 2;
      (cubic(first, middle) > wanted ? low : high) = middle;
    }
    return portable::exp((static_cast<double>(first) + low) * width());
  }

 private:
  static constexpr std::size_t nodes = 129;
  static constexpr double least_dof = 1, most_dof = 1000;
  static double width() { return portable::log(most_dof) / static_cast<double>(nodes - 1); }

  // The four nodes about it, or the nearest four.
  static std::size_t first_of(std::size_t before) {
    return std::clamp<std::size_t>(before, 1, nodes - 3) - 1;
  }
  // Lagrange's, `x` nodes after the first.
  double cubic(std::size_t first, double x) const {
    const double* const y = beyond_.data() + first;
    return -y[0] * (x - 1) * (x - 2) * (x - 3) / 6 + y[1] * x * (x - 2) * (x - 3) / 2 -
           y[2] * x * (x - 1) * (x - 3) / 2 + y[3] * x * (x - 1) * (x - 2) / 6;
  }

  const double normal_ = student_t(0.95, infinite);
  std::array<double, nodes> beyond_{};
};

const StudentTable& student_table() {
  static const StudentTable table;
  return table;
}

}  // namespace

double coverage_factor(double dof) {
  if (!std::isfinite(dof)) return 2.0;
  return dof > 1000 ? student_t(0.95, dof) : student_table().factor(std::max(dof, 1.0));
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
  for (int i = 0; i < 40; ++i) {
    double outside = 0, slope = 0;
    for (const Part& p : parts_) {
      if (p.share < no_share * all) continue;
      const double sd = std::sqrt(p.variance), up = (out.mean + half - p.mean) / sd,
                   down = (p.mean - out.mean + half) / sd;
      const NormalTail right = normal_tail(up), left = normal_tail(down);
      outside += p.share / all * (right.above + left.above);
      slope += p.share / all * (right.density + left.density) / sd;
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
  out.dof = student_table().dof(k);
  // Student's t for that many is k; beyond 1000 it is 2, which no interval may fall below.
  out.standard = half / (std::isfinite(out.dof) ? k : std::min(k, 2.0));
  if (std::isfinite(out.dof)) out.standard = half / coverage_factor(out.dof);
  return out;
}

}  // namespace tachproof
