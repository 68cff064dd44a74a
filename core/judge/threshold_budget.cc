#include "core/judge/threshold_budget.h"
#include "core/base/statistics.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <utility>

namespace tachproof {
namespace {

double squared(double x) { return x * x; }

}  // namespace

BenchParts bench_parts(const Visit& visit, double slope, double pulse_s2, const FitSetup& setup) {
  const double v2 = slope * slope, tick = std::min(setup.bench.source_tick_s, visit.timing_s);
  BenchParts out;
  out.tick = v2 * tick * tick;
  out.stamp = v2 * (squared(visit.timing_s) - tick * tick);
  out.blur = v2 * squared(visit.blur_s) / 12;
  out.rpm_noise = squared(setup.rpm_noise);
  // A bound to a standard uncertainty: GUM 4.3.7.
  out.source = squared(std::abs(slope) * setup.bench.source_lag_s + setup.bench.source_rpm) / 3;
  out.pulses = v2 * pulse_s2;
  return out;
}

void take_budget(const BudgetSource& source, const Mixture::Summary& told, ThresholdFit& fit) {
  BenchParts bench;
  double sum_w = 0, spread = 0, rounding = 0;
  for (const LinearVisit& visit : source.visits)
    sum_w += 1 / (source.scatter.variance(visit.v) + visit.bench_rpm2);
  for (std::size_t i = 0; i < source.visits.size(); ++i) {
    const LinearVisit& visit = source.visits[i];
    const BenchParts& part = source.parts[i];
    const double variance = source.scatter.variance(visit.v);
    const double share2 = squared(1 / (variance + visit.bench_rpm2) / sum_w);
    const double in_time = std::min(variance, visit.v * visit.v * source.scatter.s2);
    bench.tick += share2 * part.tick;
    bench.stamp += share2 * part.stamp;
    bench.blur += share2 * part.blur;
    bench.rpm_noise += share2 * part.rpm_noise;
    spread += share2 * (in_time + part.pulses);
    rounding += share2 * (variance - in_time);
  }
  struct Line {
    const char* component;
    double square;
    bool told;
  };
  const bool seen = source.seen;
  Line lines[] = {
      {"source tick", bench.tick, false},
      {"source crystal", squared(source.crystal_rpm), false},
      {"stamp resolution", bench.stamp, false},
      {"change dated by an interval", bench.blur, false},
      {"rpm of the signal", bench.rpm_noise, false},
      {"source steps", squared(source.steps_rpm), false},
      {"rate x response", source.response_rpm2, true},
      {seen ? "rate x response spread, repeatability" : "rate x response spread, assumed", spread, true},
      {seen ? "unit's resolution and noise, repeatability" : "unit's resolution, assumed", rounding, true},
      {"early changes under the unit's noise", squared(source.early_rpm), true}};
  double known = 0, unsure = 0, fourths = 0;
  for (const Line& line : lines) (line.told ? unsure : known) += line.square;
  // The lines are those of the likeliest scatter; all that is possible together
  // is what they have to add up to.
  const double scale = std::max(squared(told.standard) - known, 0.05 * unsure) / unsure;
  for (Line& line : lines)
    if (line.told) {
      line.square *= scale;
      fourths += squared(line.square);
    }
  const double whole = known + scale * unsure;
  const double dof = std::isfinite(told.dof) ? told.dof * fourths / squared(whole) : infinite;
  WelchSatterthwaite all;
  for (const Line& line : lines) {
    if (!(line.square > 0)) continue;
    const double u = std::sqrt(line.square), line_dof = line.told ? dof : infinite;
    fit.budget.push_back({line.component, u, line_dof});
    all.add(u, line_dof);
  }
  fit.dof = all.dof();
  fit.coverage_factor = coverage_factor(fit.dof);
  fit.expanded_uncertainty_rpm = fit.coverage_factor * all.combined();
}

}  // namespace tachproof
