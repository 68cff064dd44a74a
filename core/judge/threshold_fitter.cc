#include "core/judge/threshold_fitter.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "core/base/portable_math.h"
#include "core/base/rpm.h"
#include "core/base/statistics.h"

namespace tachproof {
namespace {

// Before a unit has shown its scatter: readings good to some 0.3 rpm and
// updates every few milliseconds, as if seen with one degree of freedom, so that
// much more is not excluded (a scaled inverse chi-squared prior; A. Gelman et
// al., "Bayesian Data Analysis", 2.6, from memory). Chosen on the units of
// tests/benchmarks/SURVEY.md.
// Of readings less once visits show scatter: few visits may agree by chance.
constexpr double usual_rpm = 0.35, usual_told_rpm = 0.12, usual_s = 0.0018;
constexpr double usual_dof = 1;
// From this many degrees of freedom on, scatter is taken from what is seen.
constexpr double enough_dof = 5;
// Up and down are taken as one unless visits measure their difference at least so well.
constexpr double apart_told_s = 0.020;

}  // namespace

ThresholdFitter::ThresholdFitter(const std::vector<Visit>& visits, std::size_t boundaries,
                                 const FitSetup& setup)
    : boundaries_(boundaries), setup_(setup), at_(boundaries + 1), steps_(boundaries + 1) {
  double unknowns = 0, all = 0;
  for (const Visit& visit : visits)
    (visit.step ? steps_ : at_).at(visit.boundary)[visit.direction == Direction::falling].push_back(&visit);
  for (const Ways& ways : at_)
    for (const auto& way : ways) {
      unknowns += way.empty() ? 0 : 1;
      all += static_cast<double>(way.size());
    }
  dof_ = std::max(0.0, all - unknowns - 1);
  seen_ = dof_ >= enough_dof;
  // Changes come early by something from nothing (the noise is slow, or of the
  // rounding) to all that white noise makes of it, and either end is likelier
  // than the middle: two points, their standard deviation half of it.
  early_share_ = seen_ ? 0.5 : 0;
  early_u_ = seen_ ? 0.5 : 0.7;
  span_s_ = setup.response_to_s - setup.response_from_s;
  // What shifts all visits alike cannot be told from response.
  common_s_ = std::hypot(setup.bench.source_lag_s / std::numbers::sqrt3, setup.bench.stamp_offset_s);
  take_steps();
  take_pulses();
  const double middle_s = (setup.response_from_s + setup.response_to_s) / 2;
  about_s_.assign(boundaries + 1, {middle_s, middle_s});
}

// A step is answered when an average has all but caught up, a ramp when it is
// half-way; a filter answers it the sooner the further the step goes. Hence the width.
void ThresholdFitter::take_steps() {
  for (std::size_t d = 0; d < 2; ++d) {
    double n = 0, sum = 0, squares = 0;
    for (const Ways& ways : steps_)
      for (const Visit* step : ways[d]) {
        const double s = step->step_response_s - step->blur_s / 2;
        n += 1;
        sum += s;
        squares += s * s;
      }
    if (n == 0) continue;
    const double mean = sum / n, spread2 = std::max(0.0, squares / n - mean * mean);
    if (!(mean > 0)) continue;
    step_s_[d] = 0.75 * mean;
    step_u_s_[d] = std::sqrt(squared(0.005 + 0.35 * mean) + spread2);
  }
}

// A unit answers later where pulses are slow, by up to some periods of its
// average and its wait, and scatters by its wait.
void ThresholdFitter::take_pulses() {
  constexpr double usual_pulse_s = 0.01, periods = 2.5;
  std::vector<double> pulse_s(boundaries_ + 1, 0.0);
  pulse_s2_.assign(boundaries_ + 1, 0.0);
  slower_s_.assign(boundaries_ + 1, 0.0);
  double fastest_s = 1e9;
  for (std::size_t b = 1; b <= boundaries_ && setup_.pulses_per_rev > 0; ++b)
    for (const auto& way : at_[b])
      if (!way.empty()) {
        pulse_s[b] = pulse_period_s(setup_.pulses_per_rev, way[0]->rpm_before[0]);
        fastest_s = std::min(fastest_s, pulse_s[b]);
      }
  for (std::size_t b = 1; b <= boundaries_; ++b)
    if (pulse_s[b] > 0) {
      pulse_s2_[b] = (squared(pulse_s[b]) - squared(fastest_s)) / 12;
      slower_s_[b] = periods * std::max(0.0, pulse_s[b] - fastest_s - usual_pulse_s);
    }
}

void ThresholdFitter::make_linear() {
  linear_.assign(boundaries_ + 1, {});
  parts_.assign(boundaries_ + 1, {});
  for (std::size_t b = 1; b <= boundaries_; ++b)
    for (std::size_t d = 0; d < 2; ++d) {
      double low = 1e300, high = -1e300;
      for (const Visit* visit : at_[b][d]) {
        // Seen in the middle of the interval that dates it, in the mean.
        // Between two samples that both lie on the ramp.
        const double longest_s = std::max(
            0.0, std::min(visit->spacing_s * (Visit::samples - 1), visit->kept_s - visit->spacing_s));
        const double back_s = std::clamp(about_s_[b][d] + visit->blur_s / 2, 0.0, longest_s);
        LinearVisit one;
        one.v = visit->slope(back_s);
        one.a = visit->rpm(back_s) + one.v * (back_s - visit->blur_s / 2);
        one.log2_rate = portable::log(std::max(std::abs(one.v), 1e-6)) * 1.4426950408889634;
        parts_[b][d].push_back(bench_parts(*visit, one.v, pulse_s2_[b], setup_));
        one.bench_rpm2 = parts_[b][d].back().all();
        linear_[b][d].push_back(one);
        const double seen = one.a - one.v * about_s_[b][d];
        low = std::min(low, seen);
        high = std::max(high, seen);
      }
      widest_rpm_ = std::max(widest_rpm_, high - low);
    }
}

// Mostly boundaries answer alike, or nearly; some units have lamps of several kinds, a few one that is late.
void ThresholdFitter::assume() {
  assumptions_.clear();
  const auto add = [this](double between_s, double own_s, double odd_s, double share) {
    assumptions_.push_back({between_s, own_s, odd_s, 0.003, 0.7 * share, false});
    if (may_differ_)
      assumptions_.push_back({between_s, own_s, odd_s, std::max(span_s_ / 3, 0.005), 0.3 * share, true});
  };
  add(0.001, 0, 0, 0.33);
  add(0.004, 0, 0, 0.41);
  add(0.012, 0, 0, 0.15);
  add(0.004, 0.009, 0, 0.10);
  if (odd_way_ != ResponsePrior::no_way) add(0.004, 0, std::max(span_s_ / 4, 0.005), 0.01);
}

// The mean of what is allowed of M, less what waiting for an update takes of it:
// a wait of up to P is part of the response.
ResponsePrior ThresholdFitter::prior(const Scatter& scatter, const ResponseAssumption& assumption) const {
  ResponsePrior out;
  out.mean_s = (setup_.response_from_s + setup_.response_to_s) / 2;
  out.u_s = std::sqrt(std::max(squared(span_s_) / 12 - scatter.s2, 4e-6) + squared(common_s_));
  if (span_s_ < 0.007) out.u_s = std::max(std::hypot(span_s_ / std::sqrt(12.0), common_s_), 1e-4);
  out.apart_s = assumption.apart_s;
  out.between_s = std::min(assumption.between_s, out.u_s);
  out.own_s = std::min(assumption.own_s, out.u_s);
  if (assumption.odd_s > 0) out.odd_way = odd_way_;
  out.odd_s = std::min(assumption.odd_s, out.u_s);
  out.step_s = step_s_;
  out.step_u_s = step_u_s_;
  return out;
}

std::vector<BoundaryPasses> ThresholdFitter::passes(const Scatter& scatter) const {
  std::vector<BoundaryPasses> out(boundaries_);
  for (std::size_t b = 1; b <= boundaries_; ++b) {
    BoundaryPasses& one = out[b - 1];
    for (std::size_t d = 0; d < 2; ++d)
      one.ways[d] =
          sum_passes(linear_[b][d], d == 0 ? Direction::rising : Direction::falling, scatter, early_share_);
    one.slower_s = slower_s_[b];
    one.on_its_own = slower_s_[b] > span_s_ / std::sqrt(12.0);
  }
  return out;
}

void ThresholdFitter::weigh(const LogAxis& rpm, const LogAxis& s) {
  cells_.clear();
  std::vector<std::vector<double>> logs;
  double best = -1e300;
  for (int i = 0; i < rpm.points; ++i)
    for (int k = 0; k < s.points; ++k) {
      ScatterCell cell;
      cell.scatter.rpm2 = portable::exp(2 * rpm.at(i));
      cell.scatter.s2 = portable::exp(2 * s.at(k));
      cell.log_prior =
          -usual_dof * (rpm.at(i) + squared(seen_ ? usual_told_rpm : usual_rpm) / cell.scatter.rpm2 / 2 +
                        s.at(k) + squared(usual_s) / cell.scatter.s2 / 2);
      cell.passes = passes(cell.scatter);
      std::vector<double>& own = logs.emplace_back();
      for (const ResponseAssumption& assumption : assumptions_) {
        const ResponseModel model(cell.passes, prior(cell.scatter, assumption));
        // No unit answers before it is asked: half a period is in the mean response.
        const double shortest = std::min(model.response_s(0), model.response_s(1));
        const double sd = std::sqrt(model.response_var() + squared(common_s_) + cell.scatter.s2);
        const double waits = normal_above((std::sqrt(3 * cell.scatter.s2) - shortest) / sd);
        own.push_back(cell.log_prior + model.log_likelihood() +
                      portable::log(assumption.share * std::max(waits, 1e-12)));
        best = std::max(best, own.back());
      }
      cells_.push_back(std::move(cell));
    }
  double all = 0;
  for (std::size_t c = 0; c < cells_.size(); ++c) {
    for (double log : logs[c]) {
      const double p = portable::exp(std::max(log - best, -600.0));
      cells_[c].shares.push_back(p);
      cells_[c].p += p;
    }
    all += cells_[c].p;
  }
  double all_any = 0;
  for (ScatterCell& cell : cells_) {
    for (double& share : cell.shares) share /= std::max(cell.p, 1e-300);
    cell.p /= all;
    const double s2 = cell.scatter.s2;
    cell.p_any = cell.p * s2 * portable::exp(usual_dof * squared(usual_s) / s2 / 2);
    all_any += cell.p_any;
  }
  for (ScatterCell& cell : cells_) cell.p_any /= all_any;
}

// To where nearly all of what is possible lies, and a step beyond.
LogAxis ThresholdFitter::narrowed(const LogAxis& axis, bool rpm, int points) const {
  double low = 1e300, high = -1e300;
  for (const ScatterCell& cell : cells_)
    if (cell.p > 1e-4) {
      const double at = 0.5 * portable::log(rpm ? cell.scatter.rpm2 : cell.scatter.s2);
      low = std::min(low, at);
      high = std::max(high, at);
    }
  const double last = axis.at(axis.points - 1);
  low = std::max(axis.low, low - 0.75 * axis.step);
  high = std::min(last, high + 0.75 * axis.step);
  return {low, std::max(high - low, 1e-6) / (points - 1), points};
}

// Visits of a bent profile are made linear about the response that was found.
void ThresholdFitter::follow() {
  const auto likeliest = std::max_element(
      cells_.begin(), cells_.end(), [](const ScatterCell& a, const ScatterCell& b) { return a.p < b.p; });
  const std::size_t which = static_cast<std::size_t>(
      std::max_element(likeliest->shares.begin(), likeliest->shares.end()) - likeliest->shares.begin());
  const ResponseModel model(likeliest->passes, prior(likeliest->scatter, assumptions_[which]));
  may_differ_ = model.apart_information() > 1 / squared(apart_told_s);
  odd_way_ = model.oddest_way();
  for (std::size_t b = 1; b <= boundaries_; ++b) about_s_[b] = model.told(b - 1).response;
}

// Evidence alone: of ramps where they tell it, else of the steps here.
ResponseFit ThresholdFitter::response(std::size_t b, std::size_t d, const Mixture& ramps) const {
  ResponseFit out;
  const auto take = [&](const Mixture::Summary& told, std::size_t visits) {
    out.response_s = told.mean;
    out.expanded_uncertainty_s = told.expanded();
    out.coverage_factor = told.k();
    out.visits = static_cast<int>(visits);
    out.measured = true;
  };
  if (!at_[b][d].empty()) {
    const Mixture::Summary told = ramps.summary();
    if (told.expanded() <= std::max(span_s_, told.mean) / 2) {
      take(told, at_[b][d].size());
      return out;
    }
  }
  const auto& steps = steps_[b][d];
  if (steps.empty()) return out;
  const double n = static_cast<double>(steps.size());
  double mean = 0, squares = 0;
  for (const Visit* step : steps) {
    mean += (step->step_response_s - step->blur_s / 2) / n;
    squares += (squared(step->timing_s) + squared(step->blur_s) / 12) / n;
  }
  Mixture told;
  for (const ScatterCell& cell : cells_)
    if (cell.p_any > 1e-4) told.add(cell.p_any, mean, (cell.scatter.s2 + squares) / n + squared(common_s_));
  take(told.summary(), steps.size());
  return out;
}

}  // namespace tachproof
