#include "core/thresholds.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "core/statistics.h"

namespace tachproof {
namespace {

// Before a unit has shown its own scatter: a unit that rounds to 1 rpm and
// updates every 10 ms (rectangular, GUM 4.3.7). The scatter that is seen
// scales both; it never makes them smaller, few visits can agree by chance.
constexpr double rounding_rpm = 0.29;
constexpr double update_s = 0.0029;

struct Prior {
  double mean_s = 0;
  double u_s = 0;
};

double weight(const Visit& visit, double slope, const FitSetup& setup) {
  const double in_time = std::hypot(update_s, visit.timing_s) * slope;
  return 1.0 / (rounding_rpm * rounding_rpm + setup.rpm_noise * setup.rpm_noise + in_time * in_time);
}

using Matrix = std::array<std::array<double, 3>, 3>;

// Inverse of a symmetric positive definite 3x3 matrix, by cofactors.
Matrix inverse(const Matrix& m) {
  Matrix out{};
  const auto minor_of = [&](std::size_t r, std::size_t c) {
    const std::size_t r0 = r == 0 ? 1 : 0, r1 = r == 2 ? 1 : 2;
    const std::size_t c0 = c == 0 ? 1 : 0, c1 = c == 2 ? 1 : 2;
    return m[r0][c0] * m[r1][c1] - m[r0][c1] * m[r1][c0];
  };
  const double det = m[0][0] * minor_of(0, 0) - m[0][1] * minor_of(0, 1) + m[0][2] * minor_of(0, 2);
  for (std::size_t r = 0; r < 3; ++r)
    for (std::size_t c = 0; c < 3; ++c) out[c][r] = ((r + c) % 2 == 0 ? 1 : -1) * minor_of(r, c) / det;
  return out;
}

struct Solution {
  std::array<double, 2> threshold{};  // rising, falling
  double response_s = 0;
  Matrix covariance{};  // unscaled: rpm, rpm, s
  double residual = 0;  // sum of w * e^2
  int visits[2] = {0, 0};
  double own_lever = 0;  // information on L from the visits alone, 1/s^2
};

Solution solve(const std::vector<const Visit*>& visits, const FitSetup& setup, const Prior& prior) {
  Solution s;
  s.response_s = prior.mean_s;
  const double longest_s = visits.empty() ? prior.mean_s : visits[0]->spacing_s * (Visit::samples - 1);
  for (int iteration = 0; iteration < 8; ++iteration) {
    // Unknowns in order: rising, falling, L. Tiny diagonal terms keep a
    // direction that was never visited solvable; it is left out afterwards.
    Matrix normal{};
    std::array<double, 3> right{};
    for (int d = 0; d < 2; ++d) normal[d][d] = 1e-12;
    normal[2][2] = 1.0 / (prior.u_s * prior.u_s);
    right[2] = prior.mean_s * normal[2][2];
    s.visits[0] = s.visits[1] = 0;
    std::array<double, 2> sum_w{}, sum_wv{}, sum_wvv{};
    for (const Visit* visit : visits) {
      const std::size_t d = visit->direction == Direction::rising ? 0 : 1;
      const double slope = visit->slope(s.response_s);
      const double w = weight(*visit, slope, setup);
      // r(t - L) ~ y - slope * L, linear about the present L.
      const double y = visit->rpm(s.response_s) + slope * s.response_s;
      normal[d][d] += w;
      normal[d][2] += w * slope;
      normal[2][d] += w * slope;
      normal[2][2] += w * slope * slope;
      right[d] += w * y;
      right[2] += w * slope * y;
      sum_w[d] += w;
      sum_wv[d] += w * slope;
      sum_wvv[d] += w * slope * slope;
      ++s.visits[d];
    }
    s.own_lever = 0;
    for (std::size_t d = 0; d < 2; ++d)
      if (sum_w[d] > 0) s.own_lever += sum_wvv[d] - sum_wv[d] * sum_wv[d] / sum_w[d];
    s.covariance = inverse(normal);
    std::array<double, 3> x{};
    for (std::size_t r = 0; r < 3; ++r)
      for (std::size_t c = 0; c < 3; ++c) x[r] += s.covariance[r][c] * right[c];
    const double moved = std::abs(x[2] - s.response_s);
    s.threshold = {x[0], x[1]};
    // Beyond the samples there is nothing to fit.
    s.response_s = std::clamp(x[2], 0.0, longest_s);
    if (moved < 1e-7) break;
  }
  s.residual = 0;
  for (const Visit* visit : visits) {
    const std::size_t d = visit->direction == Direction::rising ? 0 : 1;
    const double e = visit->rpm(s.response_s) - s.threshold[d];
    s.residual += weight(*visit, visit->slope(s.response_s), setup) * e * e;
  }
  return s;
}

// What the whole run says of L: boundaries that can tell it by themselves, and
// the steps. A step is answered when an average has all but caught up, a ramp
// when it is half-way: a step's figure is an upper neighbour, hence its width.
Prior pooled(const std::vector<Solution>& first, const std::vector<const Visit*>& steps,
             const Prior& allowed) {
  constexpr double between_boundaries_s = 0.004;
  double sum_w = 0, sum_wx = 0;
  const auto take = [&](double x, double u) {
    const double w = 1.0 / (u * u + between_boundaries_s * between_boundaries_s);
    sum_w += w;
    sum_wx += w * x;
  };
  for (const Solution& s : first)
    if (s.own_lever > 0 && 1.0 / std::sqrt(s.own_lever) < allowed.u_s)
      take(s.response_s, 1.0 / std::sqrt(s.own_lever));
  for (const Visit* step : steps) take(step->step_response_s * 0.75, 0.005 + step->step_response_s * 0.25);
  if (sum_w == 0) return allowed;
  const double mean = sum_wx / sum_w;
  // The response differs a little from boundary to boundary; the pool must not
  // claim to know one boundary's better than that.
  const double u = std::hypot(1.0 / std::sqrt(sum_w), between_boundaries_s);
  return u < allowed.u_s ? Prior{mean, u} : allowed;
}

}  // namespace

double Visit::rpm(double response_s) const {
  const double at = std::clamp(response_s / spacing_s, 0.0, static_cast<double>(samples - 1));
  const auto k = std::min(static_cast<std::size_t>(at), samples - 2);
  const double part = at - static_cast<double>(k);
  return rpm_before[k] + part * (rpm_before[k + 1] - rpm_before[k]);
}

double Visit::slope(double response_s) const {
  const double at = std::clamp(response_s / spacing_s, 0.0, static_cast<double>(samples - 1));
  const auto k = std::min(static_cast<std::size_t>(at), samples - 2);
  return (rpm_before[k] - rpm_before[k + 1]) / spacing_s;
}

bool Visit::keeps_its_rate(double from_s, double to_s) const {
  const double sign = direction == Direction::rising ? 1 : -1;
  double slowest = std::numeric_limits<double>::infinity(), fastest = 0;
  for (std::size_t k = 0; k + 1 < samples; ++k) {
    const double at = (static_cast<double>(k) + 0.5) * spacing_s;
    if (at < from_s - spacing_s || at > to_s + spacing_s) continue;
    const double rate = sign * slope(at);
    slowest = std::min(slowest, rate);
    fastest = std::max(fastest, rate);
  }
  return slowest > 0 && fastest < 1.5 * slowest;
}

ThresholdFits fit_thresholds(const std::vector<Visit>& visits, std::size_t boundaries,
                             const FitSetup& setup) {
  std::vector<std::vector<const Visit*>> at(boundaries + 1);
  std::vector<const Visit*> steps;
  for (const Visit& visit : visits) (visit.step ? steps : at.at(visit.boundary)).push_back(&visit);

  const double span = setup.response_to_s - setup.response_from_s;
  const Prior allowed{(setup.response_from_s + setup.response_to_s) / 2,
                      std::max(span / std::sqrt(12.0), 1e-4)};
  std::vector<Solution> solutions(boundaries + 1);
  for (std::size_t b = 1; b <= boundaries; ++b) solutions[b] = solve(at[b], setup, allowed);
  const Prior prior = pooled(solutions, steps, allowed);
  double residual = 0, dof = 0;
  for (std::size_t b = 1; b <= boundaries; ++b) {
    solutions[b] = solve(at[b], setup, prior);
    const int n = solutions[b].visits[0] + solutions[b].visits[1];
    const int unknowns = (solutions[b].visits[0] > 0) + (solutions[b].visits[1] > 0) + 1;
    if (n > unknowns) {
      residual += solutions[b].residual;
      dof += n - unknowns;
    }
  }
  // Birge ratio: scatter that the assumed components do not explain widens U.
  const double birge = dof > 0 ? std::max(1.0, std::sqrt(residual / dof)) : 1.0;
  const double k = birge > 1.0 ? student_t(0.95, dof) : 2.0;

  ThresholdFits out;
  out.fits.resize(2 * (boundaries + 1));
  out.middles.resize(boundaries + 1);
  out.response_s = prior.mean_s;
  out.response_scatter_s = update_s * birge;
  for (std::size_t b = 1; b <= boundaries; ++b) {
    const Solution& s = solutions[b];
    const double u_response = k * birge * std::sqrt(s.covariance[2][2]);
    for (std::size_t d = 0; d < 2; ++d) {
      ThresholdFit& fit = out.fits[2 * b + d];
      fit.visits = s.visits[d];
      if (fit.visits == 0) continue;
      fit.threshold_rpm = s.threshold[d];
      const double clock = setup.clock_share * s.threshold[d];
      fit.expanded_uncertainty_rpm = std::hypot(k * birge * std::sqrt(s.covariance[d][d]), 2 * clock);
      fit.response_s = s.response_s;
      fit.response_uncertainty_s = u_response;
    }
    if (s.visits[0] > 0 && s.visits[1] > 0) {
      ThresholdFit& middle = out.middles[b];
      middle.visits = s.visits[0] + s.visits[1];
      middle.threshold_rpm = (s.threshold[0] + s.threshold[1]) / 2;
      const double variance = (s.covariance[0][0] + s.covariance[1][1] + 2 * s.covariance[0][1]) / 4;
      const double clock = setup.clock_share * middle.threshold_rpm;
      middle.expanded_uncertainty_rpm = std::hypot(k * birge * std::sqrt(variance), 2 * clock);
    }
  }
  return out;
}

}  // namespace tachproof
