#include "core/thresholds.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <utility>

#include "core/statistics.h"

namespace tachproof {
namespace {

// Before a unit has shown its own scatter: a unit that rounds to 1 rpm and
// updates every 10 ms (rectangular, GUM 4.3.7). The scatter that is seen
// scales both; it never makes them smaller, few visits can agree by chance.
constexpr double rounding_rpm = 0.29;
constexpr double update_s = 0.0029;
// From this many degrees of freedom on, scatter is told from what is seen; what
// is assumed then counts as much as so many visits more (a scaled inverse
// chi-squared prior; A. Gelman et al., "Bayesian Data Analysis", 2.6, from memory).
constexpr double enough_dof = 5;
constexpr double assumed_dof = 3;
// Most units scatter less than is assumed before they have shown anything: with
// this share of it, the stated intervals come closest to 95 % without falling
// below (tests/benchmarks/SURVEY.md).
constexpr double usual_share = 0.4;

Scatter assumed_scatter() {
  constexpr double infinite = std::numeric_limits<double>::infinity();
  return {rounding_rpm * rounding_rpm, update_s * update_s, infinite, infinite};
}

double blended(double assumed, double seen, double seen_dof) {
  return (assumed_dof * usual_share * assumed + seen_dof * seen) / (assumed_dof + seen_dof);
}

Scatter blended(const Scatter& seen) {
  const Scatter assumed = assumed_scatter();
  return {blended(assumed.rpm2, seen.rpm2, seen.rpm2_dof), blended(assumed.s2, seen.s2, seen.s2_dof),
          assumed_dof + seen.rpm2_dof, assumed_dof + seen.s2_dof};
}

struct Prior {
  double mean_s = 0;
  double u_s = 0;
};

constexpr double root_3 = std::numbers::sqrt3;  // a bound to a standard uncertainty: GUM 4.3.7

double source_bound_rpm(double slope, const FitSetup& setup) {
  return std::abs(slope) * setup.source_lag_s + setup.source_rpm;
}

double bench_rpm2(const Visit& visit, double slope, const FitSetup& setup) {
  const double in_time = visit.timing_s * slope;
  const double source = source_bound_rpm(slope, setup) / root_3;
  return setup.rpm_noise * setup.rpm_noise + in_time * in_time + source * source;
}

double weight(const Visit& visit, double slope, const FitSetup& setup, const Scatter& scatter) {
  return 1.0 / (scatter.variance(slope) + bench_rpm2(visit, slope, setup));
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
  std::vector<Residual> residuals;
};

Solution solve(const std::vector<const Visit*>& visits, const FitSetup& setup, const Prior& prior,
               const Scatter& scatter) {
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
      const double w = weight(*visit, slope, setup, scatter);
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
    const double slope = visit->slope(s.response_s);
    const double w = weight(*visit, slope, setup, scatter);
    const Matrix& c = s.covariance;
    const double followed = w * (c[d][d] + 2 * slope * c[d][2] + slope * slope * c[2][2]);
    s.residuals.push_back({visit->rpm(s.response_s) - s.threshold[d], slope, std::clamp(followed, 0.0, 1.0),
                           bench_rpm2(*visit, slope, setup)});
    s.residual += w * s.residuals.back().rpm * s.residuals.back().rpm;
  }
  return s;
}

// What the rest of the run says of one boundary's L: the other boundaries that
// can tell theirs, and the steps. A step is answered when an average has all
// but caught up, a ramp when it is half-way: a step's figure is an upper
// neighbour, hence its width.
//
// A unit answers later where pulses are slow, by up to some periods of its average and
// its wait. `pulse_s`: the period at each boundary.
Prior pooled(const std::vector<Solution>& solutions, std::size_t except, double step_response_s,
             const Prior& allowed, const std::vector<double>& pulse_s) {
  // The response differs a little from boundary to boundary, if only because
  // pulses come slower at some: at least this, or as much as is seen.
  constexpr double least_between_s = 0.004;
  // Differences of the pulses up to this are within what is seen between boundaries.
  constexpr double usual_s = 0.01, periods = 2.5;
  const auto slower_s = [&](double other_s) {
    return periods * std::max(0.0, std::abs(pulse_s[except] - other_s) - usual_s);
  };
  std::vector<std::pair<double, double>> told;  // L, its standard uncertainty
  double fastest_s = pulse_s[except];
  for (std::size_t b = 1; b < solutions.size(); ++b) {
    const Solution& s = solutions[b];
    const double u = s.own_lever > 0 ? 1.0 / std::sqrt(s.own_lever) : allowed.u_s;
    if (s.visits[0] + s.visits[1] > 0) fastest_s = std::min(fastest_s, pulse_s[b]);
    if (b != except && u < allowed.u_s) told.emplace_back(s.response_s, std::hypot(u, slower_s(pulse_s[b])));
  }
  double mean = 0, square = 0, known = 0;
  for (const auto& [x, u] : told) mean += x / static_cast<double>(told.size());
  for (const auto& [x, u] : told) {
    square += (x - mean) * (x - mean);
    known += u * u;
  }
  double between = least_between_s;
  if (told.size() > 2)
    between = std::sqrt(std::max(between * between, square / static_cast<double>(told.size() - 1) -
                                                        known / static_cast<double>(told.size())));
  double sum_w = 0, sum_wx = 0;
  const auto take = [&](double x, double u) {
    const double w = 1.0 / (u * u + between * between);
    sum_w += w;
    sum_wx += w * x;
  };
  for (const auto& [x, u] : told) take(x, u);
  if (step_response_s > 0)
    take(step_response_s * 0.75, std::hypot(0.005 + step_response_s * 0.25, slower_s(fastest_s)));
  if (sum_w == 0) return allowed;
  // The pool must not claim to know one boundary's better than that.
  const double u = std::hypot(1.0 / std::sqrt(sum_w), between);
  return u < allowed.u_s ? Prior{sum_wx / sum_w, u} : allowed;
}

// A threshold is a weighted sum of what the visits saw and of what was known of
// L: what each source of uncertainty contributes to it, by those weights.
struct Contributions {
  double rounding = 0, spread = 0, tick = 0, stamp = 0, rpm_noise = 0;  // squares
  double early = 0, source = 0;                                         // bounds, not squared
  double response = 0;
};

Contributions contributions(const Solution& s, std::size_t d, const std::vector<const Visit*>& visits,
                            const FitSetup& setup, const Prior& prior, const Scatter& scatter) {
  Contributions out;
  for (const Visit* visit : visits) {
    const std::size_t own = visit->direction == Direction::rising ? 0 : 1;
    const double slope = visit->slope(s.response_s);
    const double share =
        weight(*visit, slope, setup, scatter) * (s.covariance[d][own] + s.covariance[d][2] * slope);
    const double in_time = share * slope;
    out.rounding += share * share * scatter.rpm2;
    out.spread += in_time * in_time * scatter.s2;
    const double tick = std::min(setup.source_tick_s, visit->timing_s);
    out.tick += in_time * in_time * tick * tick;
    out.stamp += in_time * in_time * (visit->timing_s * visit->timing_s - tick * tick);
    out.rpm_noise += share * share * setup.rpm_noise * setup.rpm_noise;
    out.early += (own == 0 ? -1 : 1) * share * early_by_noise_rpm(scatter, slope);
    out.source += std::abs(share) * source_bound_rpm(slope, setup);
  }
  out.response = std::abs(s.covariance[d][2]) / prior.u_s;
  return out;
}

class Budget {
 public:
  static constexpr double infinite = std::numeric_limits<double>::infinity();

  void add(const char* component, double u_rpm, double dof = infinite) {
    if (!(u_rpm > 0)) return;
    lines_.push_back({component, u_rpm, dof});
    all_.add(u_rpm, dof);
  }
  void into(ThresholdFit& fit) {
    fit.dof = all_.dof();
    // k = 2 where nothing limits it: GUM 6.3.3, 95.45 %.
    fit.coverage_factor = std::isfinite(fit.dof) ? student_t(0.95, std::max(fit.dof, 1.0)) : 2.0;
    fit.expanded_uncertainty_rpm = fit.coverage_factor * all_.combined();
    fit.budget = std::move(lines_);
  }

 private:
  std::vector<BudgetLine> lines_;
  WelchSatterthwaite all_;
};

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

  double step_response_s = 0;
  for (const Visit* step : steps)
    step_response_s += step->step_response_s / static_cast<double>(steps.size());

  const double span = setup.response_to_s - setup.response_from_s;
  // What shifts all visits alike cannot be told from response.
  const double common_s = std::hypot(setup.source_lag_s / root_3, setup.stamp_offset_s);
  const Prior allowed{(setup.response_from_s + setup.response_to_s) / 2,
                      std::max(std::hypot(span / std::sqrt(12.0), common_s), 1e-4)};
  Scatter scatter = assumed_scatter();
  std::vector<Solution> solutions(boundaries + 1);
  std::vector<Prior> priors(boundaries + 1, allowed);
  std::vector<Residual> residuals;
  const auto solve_all = [&] {
    residuals.clear();
    for (std::size_t b = 1; b <= boundaries; ++b) {
      solutions[b] = solve(at[b], setup, priors[b], scatter);
      const std::vector<Residual>& own = solutions[b].residuals;
      residuals.insert(residuals.end(), own.begin(), own.end());
    }
  };
  solve_all();
  const std::vector<Solution> first = solutions;
  std::vector<double> pulse_s(boundaries + 1, 0.0);
  for (std::size_t b = 1; b <= boundaries; ++b)
    if (!at[b].empty() && setup.pulses_per_rev > 0)
      pulse_s[b] = 60 / (setup.pulses_per_rev * std::max(at[b][0]->rpm_before[0], 1.0));
  for (std::size_t b = 1; b <= boundaries; ++b)
    priors[b] = pooled(first, b, step_response_s, allowed, pulse_s);
  solve_all();

  double residual = 0, dof = 0;
  for (std::size_t b = 1; b <= boundaries; ++b) {
    const int n = solutions[b].visits[0] + solutions[b].visits[1];
    const int unknowns = (solutions[b].visits[0] > 0) + (solutions[b].visits[1] > 0) + 1;
    if (n > unknowns) {
      residual += solutions[b].residual;
      dof += n - unknowns;
    }
  }
  ThresholdFits out;
  out.scatter_seen = dof >= enough_dof;
  // Birge ratio: scatter that the assumed components do not explain widens U.
  double birge = 1;
  if (out.scatter_seen) {
    constexpr int rounds = 8;
    for (int round = 0; round < rounds; ++round) {
      scatter = blended(refine_scatter(residuals, scatter));
      solve_all();
    }
    out.scatter_dof = residual_dof(residuals);
  } else if (dof > 0) {
    birge = std::max(1.0, std::sqrt(residual / dof));
    out.scatter_dof = dof;
    scatter.rpm2 *= birge * birge;
    scatter.s2 *= birge * birge;
    if (birge > 1) scatter.rpm2_dof = scatter.s2_dof = dof;
    // The solutions' covariances are those of the scatter as assumed.
    if (birge > 1) solve_all();
  }
  out.scatter = scatter;

  out.fits.resize(2 * (boundaries + 1));
  out.middles.resize(boundaries + 1);
  out.widths.resize(boundaries + 1);
  out.responses.resize(2 * (boundaries + 1));
  double sum_response = 0;
  for (std::size_t b = 1; b <= boundaries; ++b) sum_response += priors[b].mean_s;
  out.response_s = boundaries > 0 ? sum_response / static_cast<double>(boundaries) : allowed.mean_s;
  out.response_scatter_s = std::max(update_s, std::sqrt(scatter.s2));
  const bool seen = out.scatter_seen;
  for (std::size_t b = 1; b <= boundaries; ++b) {
    const Solution& s = solutions[b];
    double source = 0;
    for (std::size_t d = 0; d < 2; ++d) {
      ThresholdFit& fit = out.fits[2 * b + d];
      fit.visits = s.visits[d];
      if (fit.visits == 0) continue;
      fit.threshold_rpm = s.threshold[d];
      const Contributions c = contributions(s, d, at[b], setup, priors[b], scatter);
      Budget budget;
      budget.add("source tick", std::sqrt(c.tick));
      budget.add("source crystal", setup.clock_share * s.threshold[d]);
      budget.add("stamp resolution", std::sqrt(c.stamp));
      budget.add("rpm of the signal", std::sqrt(c.rpm_noise));
      budget.add("source steps", c.source / root_3);
      source += c.source / 2;
      budget.add("rate x response, as known before", c.response);
      budget.add(seen ? "rate x response spread, repeatability" : "rate x response spread, assumed",
                 std::sqrt(c.spread), scatter.s2_dof);
      budget.add(seen ? "unit's resolution and noise, repeatability" : "unit's resolution, assumed",
                 std::sqrt(c.rounding), scatter.rpm2_dof);
      // Rectangular up to the bound (GUM 4.3.7).
      budget.add("early changes under the unit's noise", std::abs(c.early) / root_3);
      budget.into(fit);
      fit.response_s = s.response_s;
      fit.response_uncertainty_s = fit.coverage_factor * std::hypot(std::sqrt(s.covariance[2][2]), common_s);
    }
    if (s.visits[0] > 0 && s.visits[1] > 0) {
      ThresholdFit& middle = out.middles[b];
      middle.visits = s.visits[0] + s.visits[1];
      middle.threshold_rpm = (s.threshold[0] + s.threshold[1]) / 2;
      const double variance = (s.covariance[0][0] + s.covariance[1][1] + 2 * s.covariance[0][1]) / 4;
      const double clock = setup.clock_share * middle.threshold_rpm;
      const double k = std::max(out.fits[2 * b].coverage_factor, out.fits[2 * b + 1].coverage_factor);
      middle.expanded_uncertainty_rpm = k * std::hypot(std::sqrt(variance), clock, source / root_3);
    }
  }
  return out;
}

}  // namespace tachproof
