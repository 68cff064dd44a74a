// All that the scatters leave possible, added up: thresholds.h.
#include "core/judge/threshold_fitter.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "core/base/portable_math.h"
#include "core/base/statistics.h"

namespace tachproof {
namespace {

// What is stated as the scatter in time, at least: of updates every 10 ms.
constexpr double update_s = 0.0029;
// The smallest that any unit shows: visits may agree by chance.
constexpr double least_rpm = 0.03, least_s = 0.0003;

}  // namespace

// The same at worst for all visits of a way; its own weights add up to one.
double ThresholdFitter::steps_rpm(std::size_t b, std::size_t d) const {
  double rate = 0;
  for (const LinearVisit& visit : linear_[b][d]) rate = std::max(rate, std::abs(visit.v));
  for (const LinearVisit& visit : linear_[b][d]) rate = std::min(rate, std::abs(visit.v));
  return (rate * setup_.bench.source_lag_s + setup_.bench.source_rpm) / std::numbers::sqrt3;
}

// One assumption about one scatter, with its weights: p of what is judged, p_any of whatever response.
void ThresholdFitter::add_model(const ResponseModel& model, const ResponseModel& alone, double p,
                                double p_any, Sums& sums) const {
  sums.response_s += p * (model.response_s(0) + model.response_s(1)) / 2;
  for (std::size_t b = 1; b <= boundaries_; ++b) {
    const BoundaryTold told = model.told(b - 1), own = alone.told(b - 1);
    double extra[2] = {0, 0};
    for (std::size_t d = 0; d < 2; ++d) {
      if (at_[b][d].empty()) continue;
      const std::size_t way = 2 * b + d;
      extra[d] = squared(steps_rpm(b, d));
      sums.thresholds[way].add(p, told.threshold[d],
                               told.threshold_var[d] + extra[d] + squared(early_u_ * told.early_rpm[d]) +
                                   squared(setup_.bench.clock_share * told.threshold[d]));
      sums.responses[way].add(
          p, told.response[d],
          told.response_var[d] + squared(common_s_) + squared(early_u_ * told.early_s[d]));
      sums.ramps[way].add(p_any, own.response[d],
                          own.response_var[d] + squared(common_s_) + squared(early_u_ * own.early_s[d]));
    }
    if (at_[b][0].empty() || at_[b][1].empty()) continue;
    const double both = told.threshold_var[0] + told.threshold_var[1];
    const double steps = squared(std::sqrt(extra[0]) + std::sqrt(extra[1]));
    const double early_sum = told.early_rpm[0] + told.early_rpm[1];
    const double early_less = told.early_rpm[0] - told.early_rpm[1];
    const double middle = (told.threshold[0] + told.threshold[1]) / 2;
    const double width = told.threshold[0] - told.threshold[1];
    sums.middles[b].add(p, middle,
                        (both + 2 * told.threshold_cov + steps + squared(early_u_ * early_sum)) / 4 +
                            squared(setup_.bench.clock_share * middle));
    sums.widths[b].add(p, width,
                       std::max(both - 2 * told.threshold_cov, 1e-12) + steps +
                           squared(early_u_ * early_less) + squared(setup_.bench.clock_share * width));
  }
}

ThresholdFitter::Sums ThresholdFitter::summed() const {
  const std::vector<Mixture> ways(2 * (boundaries_ + 1)), both(boundaries_ + 1);
  Sums sums{ways, ways, ways, both, both};
  sums.likeliest = &cells_[0];
  for (const ScatterCell& cell : cells_) {
    if (cell.p < 1e-4 && cell.p_any < 1e-4) continue;
    if (cell.p > sums.likeliest->p) sums.likeliest = &cell;
    sums.kept += cell.p;
    const double lr = portable::log(cell.scatter.rpm2), ls = portable::log(cell.scatter.s2);
    sums.log_rpm += cell.p * lr;
    sums.log_rpm2 += cell.p * lr * lr;
    sums.log_s += cell.p * ls;
    sums.log_s2 += cell.p * ls * ls;
    const std::vector<BoundaryPasses>& cell_passes = cell.passes;
    for (std::size_t i = 0; i < assumptions_.size(); ++i) {
      const double p = cell.p * cell.shares[i], p_any = cell.p_any * cell.shares[i];
      if (assumptions_[i].apart) sums.apart += p;
      if (p < 3e-5 && p_any < 3e-5) continue;
      ResponsePrior known = prior(cell.scatter, assumptions_[i]);
      const ResponseModel model(cell_passes, known);
      known.u_s = 10;
      known.step_u_s = {-1, -1};
      add_model(model, ResponseModel(cell_passes, known), p, p_any, sums);
    }
  }
  return sums;
}

void ThresholdFitter::take_scatter(const Sums& sums, ThresholdFits& out) const {
  const auto moments = [&](double mean, double square, double& value, double& dof) {
    mean /= sums.kept;
    value = portable::exp(mean);
    dof = std::clamp(2 / std::max(square / sums.kept - mean * mean, 1e-9), 1.0, 1e6);
  };
  moments(sums.log_rpm, sums.log_rpm2, out.scatter.rpm2, out.scatter.rpm2_dof);
  moments(sums.log_s, sums.log_s2, out.scatter.s2, out.scatter.s2_dof);
  out.scatter_seen = seen_;
  out.scatter_dof = dof_;
  out.response_s = sums.response_s / sums.kept;
  out.responses_apart = sums.apart > 0.5 * sums.kept;
  out.response_scatter_s = std::max(update_s, std::sqrt(out.scatter.s2));
}

// Values and U from all that is possible together; the budget's lines by the likeliest of it.
void ThresholdFitter::take_rows(const Sums& sums, ThresholdFits& out) const {
  const ScatterCell& likeliest = *sums.likeliest;
  const std::vector<BoundaryPasses>& cell_passes = likeliest.passes;
  const std::size_t which = static_cast<std::size_t>(
      std::max_element(likeliest.shares.begin(), likeliest.shares.end()) - likeliest.shares.begin());
  const ResponseModel model(cell_passes, prior(likeliest.scatter, assumptions_[which]));
  for (std::size_t b = 1; b <= boundaries_; ++b) {
    const BoundaryTold told = model.told(b - 1);
    for (std::size_t d = 0; d < 2; ++d) {
      const std::size_t way = 2 * b + d;
      out.responses[way] = response(b, d, sums.ramps[way]);
      ThresholdFit& fit = out.fits[way];
      fit.visits = static_cast<int>(at_[b][d].size());
      if (fit.visits == 0) continue;
      const Mixture::Summary summary = sums.thresholds[way].summary();
      fit.threshold_rpm = summary.mean;
      const double rate = cell_passes[b - 1].ways[d].mean_v;
      take_budget({linear_[b][d], parts_[b][d], likeliest.scatter, rate * rate * told.response_var[d],
                   early_u_ * std::abs(told.early_rpm[d]), setup_.bench.clock_share * summary.mean,
                   steps_rpm(b, d), seen_},
                  summary, fit);
      if (!out.responses[way].measured) continue;
      const Mixture::Summary response = sums.responses[way].summary();
      fit.response_s = response.mean;
      fit.response_uncertainty_s = response.expanded();
    }
    if (at_[b][0].empty() || at_[b][1].empty()) continue;
    const Mixture::Summary middle = sums.middles[b].summary(), width = sums.widths[b].summary();
    ThresholdFit& mean = out.middles[b];
    mean.visits = out.fits[2 * b].visits + out.fits[2 * b + 1].visits;
    mean.threshold_rpm = middle.mean;
    mean.expanded_uncertainty_rpm = middle.expanded();
    mean.coverage_factor = middle.k();
    mean.dof = middle.dof;
    out.widths[b] = {width.mean, width.expanded(), width.k(), width.dof};
  }
}

ThresholdFits ThresholdFitter::fits() {
  make_linear();
  assume();
  const LogAxis rpm{portable::log(least_rpm), portable::log(widest_rpm_ / least_rpm) / 9, 10};
  const double longest_s = std::max(span_s_, 0.010) / std::sqrt(12.0);
  const LogAxis s{portable::log(least_s), portable::log(longest_s / least_s) / 9, 10};
  weigh(rpm, s);
  follow();
  const LogAxis fine_rpm = narrowed(rpm, true, 10), fine_s = narrowed(s, false, 10);
  make_linear();
  assume();
  weigh(fine_rpm, fine_s);

  ThresholdFits out;
  out.fits.resize(2 * (boundaries_ + 1));
  out.responses.resize(2 * (boundaries_ + 1));
  out.middles.resize(boundaries_ + 1);
  out.widths.resize(boundaries_ + 1);
  const Sums sums = summed();
  take_scatter(sums, out);
  take_rows(sums, out);
  return out;
}

ThresholdFits fit_thresholds(const std::vector<Visit>& visits, std::size_t boundaries,
                             const FitSetup& setup) {
  return ThresholdFitter(visits, boundaries, setup).fits();
}

}  // namespace tachproof
