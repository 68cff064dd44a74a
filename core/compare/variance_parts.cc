#include "core/compare/variance_parts.h"

#include <algorithm>
#include <cmath>

namespace tachproof {
namespace {

constexpr double least_rpm2 = 0.02 * 0.02;
constexpr double least_s2 = 1e-4 * 1e-4;

}  // namespace

double residual_dof(std::span<const Residual> residuals) {
  double dof = 0;
  for (const Residual& r : residuals) dof += 1 - r.leverage;
  return dof;
}

VarianceParts refine_parts(std::span<const Residual> residuals, const VarianceParts& now) {
  double n00 = 0, n01 = 0, n11 = 0, y0 = 0, y1 = 0;
  for (const Residual& r : residuals) {
    const double free = 1 - r.leverage;
    if (free < 0.02) continue;  // the fit followed it: it tells nothing
    const double v2 = r.rate_rpm_per_s * r.rate_rpm_per_s;
    const double sigma2 = now.variance(r.rate_rpm_per_s) + r.bench_rpm2;
    const double w = free / (2 * sigma2 * sigma2);
    const double y = r.rpm * r.rpm / free - r.bench_rpm2;
    n00 += w;
    n01 += w * v2;
    n11 += w * v2 * v2;
    y0 += w * y;
    y1 += w * y * v2;
  }
  VarianceParts next;
  const double det = n00 * n11 - n01 * n01;
  // Visits at one rate tell the sum only: keep the proportion.
  if (!(det > 1e-9 * n00 * n11)) {
    const double ratio = (y0 / n00) / now.variance(std::sqrt(n01 / n00));
    next.rpm2 = std::max(least_rpm2, now.rpm2 * ratio);
    next.s2 = std::max(least_s2, now.s2 * ratio);
    next.rpm2_dof = next.s2_dof = std::max(1.0, residual_dof(residuals));
    return next;
  }
  next.rpm2 = (n11 * y0 - n01 * y1) / det;
  next.s2 = (n00 * y1 - n01 * y0) / det;
  // What one term would have of the other's below nothing goes to the other.
  if (next.rpm2 < least_rpm2) {
    next.rpm2 = least_rpm2;
    next.s2 = (y1 - n01 * least_rpm2) / n11;
  }
  if (next.s2 < least_s2) {
    next.s2 = least_s2;
    next.rpm2 = std::max(least_rpm2, (y0 - n01 * least_s2) / n00);
  }
  next.rpm2_dof = 2 * next.rpm2 * next.rpm2 * det / n11;
  next.s2_dof = 2 * next.s2 * next.s2 * det / n00;
  return next;
}

}  // namespace tachproof
