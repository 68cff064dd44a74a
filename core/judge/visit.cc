#include "core/judge/visit.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace tachproof {
namespace {

// Standard uncertainty of the slope of a least-squares line through n readings
// of standard deviation u, h apart: u / (h sqrt(n (n^2 - 1) / 12)).
double slope_uncertainty(double u, double h, double n) { return u / (h * std::sqrt(n * (n * n - 1) / 12)); }

}  // namespace

Visit::Line Visit::through(std::size_t first, std::size_t count, double response_s) const {
  const double n = static_cast<double>(count), middle = static_cast<double>(first) + (n - 1) / 2;
  double mean = 0, product = 0;
  for (std::size_t k = first; k < first + count; ++k) {
    mean += rpm_before[k] / n;
    product += (static_cast<double>(k) - middle) * rpm_before[k];
  }
  const double per_sample = product / (n * (n * n - 1) / 12);  // back in time
  return {mean + per_sample * (response_s / spacing_s - middle), -per_sample / spacing_s};
}

// The rate is told once its uncertainty is a twentieth of it.
std::size_t Visit::span() const {
  if (!(rpm_noise > 0)) return 1;
  const double rate = std::abs(through(0, samples, 0).slope);
  for (std::size_t m = 1; m < samples - 1; m *= 2)
    if (slope_uncertainty(rpm_noise, spacing_s, static_cast<double>(m + 1)) < 0.05 * rate) return m;
  return samples - 1;
}

Visit::Line Visit::line(double response_s) const {
  const double at = std::clamp(response_s / spacing_s, 0.0, static_cast<double>(samples - 1));
  const std::size_t m = span();
  const auto k = std::min(static_cast<std::size_t>(at), samples - 2);
  if (m == 1) return through(k, 2, at * spacing_s);
  const double first = std::round(at - static_cast<double>(m) / 2);
  return through(static_cast<std::size_t>(std::clamp(first, 0.0, static_cast<double>(samples - 1 - m))),
                 m + 1, at * spacing_s);
}

double Visit::rpm(double response_s) const { return line(response_s).rpm; }
double Visit::slope(double response_s) const { return line(response_s).slope; }

bool Visit::keeps_its_rate(double from_s, double to_s) const {
  const double sign = direction == Direction::rising ? 1 : -1;
  const std::size_t m = span();
  constexpr double sure = 3;  // standard uncertainties
  const double unsure =
      m == 1 ? 0 : sure * slope_uncertainty(rpm_noise, spacing_s, static_cast<double>(m + 1));
  double slowest = std::numeric_limits<double>::infinity(), fastest = 0;
  for (std::size_t k = 0; k + m < samples; ++k) {
    const double begins = static_cast<double>(k) * spacing_s;
    const double ends = static_cast<double>(k + m) * spacing_s;
    // Of a span of several samples all of it must lie where the unit may look.
    const bool all = k == 0 || k + m + 1 == samples;
    if (m == 1 ? (begins + ends) / 2 < from_s - spacing_s || (begins + ends) / 2 > to_s + spacing_s
               : !all && (begins < from_s - spacing_s || ends > to_s + spacing_s))
      continue;
    const double rate = sign * through(k, m + 1, begins).slope;
    slowest = std::min(slowest, rate);
    fastest = std::max(fastest, rate);
  }
  return fastest > 0 && slowest + unsure > 0 && fastest - unsure < 1.5 * (slowest + unsure);
}

}  // namespace tachproof
