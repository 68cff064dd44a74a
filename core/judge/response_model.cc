#include "core/judge/response_model.h"

#include <algorithm>
#include <cmath>

#include "core/base/portable_math.h"

namespace tachproof {
namespace {

constexpr std::size_t fewest_ways = 5;  // of which one may be odd

}  // namespace

PassSums sum_passes(const std::vector<LinearVisit>& visits, Direction direction, const Scatter& scatter,
                    double early_share) {
  PassSums out;
  out.visits = static_cast<int>(visits.size());
  const double noise = std::sqrt(scatter.rpm2);
  const double log2_step = 0.5 * portable::log(12 * scatter.s2 / scatter.rpm2) * 1.4426950408889634;
  const double sign = direction == Direction::rising ? 1 : -1;  // early: seen lower on the way up
  double sum_a = 0, sum_v = 0, sum_e = 0, vv = 0, va = 0, aa = 0, ve = 0, product = 1;
  // About the first visit, so that nothing is lost to rounding.
  const double a0 = visits.empty() ? 0 : visits[0].a, v0 = visits.empty() ? 0 : visits[0].v;
  for (const LinearVisit& visit : visits) {
    const FirstPassage pass = first_passage(log2_step + visit.log2_rate);
    const double w = 1 / (scatter.rpm2 * pass.spread2 + visit.bench_rpm2);
    const double e = sign * noise * pass.early;
    const double a = visit.a + early_share * e - a0, v = visit.v - v0;
    out.sum_w += w;
    sum_a += w * a;
    sum_v += w * v;
    sum_e += w * e;
    vv += w * v * v;
    va += w * v * a;
    aa += w * a * a;
    ve += w * v * e;
    product *= w;
    if (product > 1e200 || product < 1e-200) {
      out.half_log_w += 0.5 * portable::log(product);
      product = 1;
    }
  }
  if (visits.empty()) return out;
  out.half_log_w += 0.5 * portable::log(product);
  const double a = sum_a / out.sum_w, v = sum_v / out.sum_w, e = sum_e / out.sum_w;
  out.lever = std::max(0.0, vv - v * sum_v);
  // Rates that differ by rounding only are one rate.
  if (out.lever < 1e-9 * out.sum_w * v0 * v0) out.lever = 0;
  out.lever_a = out.lever > 0 ? va - a * sum_v : 0;
  out.lever_early = out.lever > 0 ? ve - e * sum_v : 0;
  out.rest = std::max(0.0, aa - a * sum_a);
  out.mean_a = a + a0;
  out.mean_v = v + v0;
  out.mean_early = e;
  return out;
}

ResponseModel::Pair ResponseModel::by(const Own& own, std::size_t way) const {
  return {own.coupled ? 1.0 : 0.0, way == 0 ? 0.5 : -0.5};
}

ResponseModel::ResponseModel(const std::vector<BoundaryPasses>& boundaries, const ResponsePrior& prior)
    : boundaries_(boundaries) {
  double a00 = 0, a01 = 0, a11 = 0;
  Pair g{}, g_early{};
  double log_l = 0, determinants = 1;
  own_.reserve(boundaries.size());
  for (const BoundaryPasses& b : boundaries) {
    Own own;
    own.coupled = !b.on_its_own;
    own.offset = own.coupled ? 0 : prior.mean_s;
    const double between2 =
        b.on_its_own ? prior.u_s * prior.u_s : prior.between_s * prior.between_s + b.slower_s * b.slower_s;
    own.total = 1 / between2;
    Pair sum_hu{}, sum_hu_early{};
    for (std::size_t d = 0; d < 2; ++d) {
      const PassSums& pass = b.ways[d];
      if (pass.visits == 0) continue;
      // F integrated out: what is left of the visits' lever on all else.
      const double own_s = 2 * own_.size() + d == prior.odd_way ? prior.odd_s : prior.own_s;
      const double own2 = own_s * own_s, kept = 1 / (1 + pass.lever * own2);
      own.kept[d] = kept;
      own.added[d] = own2 * kept;
      const double all_h = pass.lever_a - pass.lever * own.offset, early = pass.lever_early * kept;
      const double j = pass.lever * kept, h = all_h * kept;
      const Pair u = by(own, d);
      own.total += j;
      own.sum_h += h;
      own.sum_h_early += early;
      for (std::size_t i = 0; i < 2; ++i) {
        own.sum_ju[i] += j * u[i];
        sum_hu[i] += h * u[i];
        sum_hu_early[i] += early * u[i];
      }
      a00 += j * u[0] * u[0];
      a01 += j * u[0] * u[1];
      a11 += j * u[1] * u[1];
      const double rest = pass.rest - 2 * own.offset * pass.lever_a + pass.lever * own.offset * own.offset;
      log_l += pass.half_log_w - (rest - all_h * all_h * own.added[d]) / 2;
      determinants *= pass.sum_w / kept;
    }
    a00 -= own.sum_ju[0] * own.sum_ju[0] / own.total;
    a01 -= own.sum_ju[0] * own.sum_ju[1] / own.total;
    a11 -= own.sum_ju[1] * own.sum_ju[1] / own.total;
    for (std::size_t i = 0; i < 2; ++i) {
      g[i] += sum_hu[i] - own.sum_ju[i] * own.sum_h / own.total;
      g_early[i] += sum_hu_early[i] - own.sum_ju[i] * own.sum_h_early / own.total;
    }
    log_l += own.sum_h * own.sum_h / own.total / 2;
    determinants *= own.total * between2;
    if (determinants > 1e200 || determinants < 1e-200) {
      log_l -= 0.5 * portable::log(determinants);
      determinants = 1;
    }
    own_.push_back(own);
  }
  apart_information_ = a00 > 0 ? std::max(0.0, a11 - a01 * a01 / a00) : 0;
  for (std::size_t d = 0; d < 2; ++d)
    if (prior.step_u_s[d] > 0) {
      const double w = 1 / (prior.step_u_s[d] * prior.step_u_s[d]), half = d == 0 ? 0.5 : -0.5;
      a00 += w;
      a01 += w * half;
      a11 += w * half * half;
      g[0] += w * prior.step_s[d];
      g[1] += w * half * prior.step_s[d];
      log_l -= w * prior.step_s[d] * prior.step_s[d] / 2;
    }
  const double w_m = 1 / (prior.u_s * prior.u_s), w_d = 1 / (prior.apart_s * prior.apart_s);
  a00 += w_m;
  a11 += w_d;
  g[0] += w_m * prior.mean_s;
  log_l -= w_m * prior.mean_s * prior.mean_s / 2;
  const double det = a00 * a11 - a01 * a01;
  covariance_ = {Pair{a11 / det, -a01 / det}, Pair{-a01 / det, a00 / det}};
  for (std::size_t i = 0; i < 2; ++i) {
    mean_[i] = covariance_[i][0] * g[0] + covariance_[i][1] * g[1];
    mean_early_[i] = covariance_[i][0] * g_early[0] + covariance_[i][1] * g_early[1];
  }
  log_l += (g[0] * mean_[0] + g[1] * mean_[1]) / 2;
  log_likelihood_ = log_l - 0.5 * portable::log(determinants * (det / w_m / w_d));
}

double ResponseModel::response_s(std::size_t way) const {
  return mean_[0] + (way == 0 ? 0.5 : -0.5) * mean_[1];
}

std::size_t ResponseModel::oddest_way() const {
  std::size_t oddest = ResponsePrior::no_way, ways = 0;
  double most = 0;
  for (std::size_t index = 0; index < boundaries_.size(); ++index) {
    const BoundaryTold all = told(index);
    for (std::size_t d = 0; d < 2; ++d) {
      const PassSums& pass = boundaries_[index].ways[d];
      if (pass.lever <= 0) continue;
      ++ways;
      const double off = std::abs(pass.lever_a / pass.lever - all.response[d]) * std::sqrt(pass.lever);
      if (off <= most) continue;
      most = off;
      oddest = 2 * index + d;
    }
  }
  return ways < fewest_ways ? ResponsePrior::no_way : oddest;
}

BoundaryTold ResponseModel::told(std::size_t index) const {
  const Own& own = own_[index];
  BoundaryTold out;
  std::array<Pair, 2> q;
  for (std::size_t d = 0; d < 2; ++d) {
    const Pair u = by(own, d);
    const PassSums& pass = boundaries_[index].ways[d];
    double early = own.sum_h_early / own.total, without_own = own.sum_h / own.total;
    for (std::size_t i = 0; i < 2; ++i) {
      q[d][i] = u[i] - own.sum_ju[i] / own.total;
      without_own += q[d][i] * mean_[i];
      early += q[d][i] * mean_early_[i];
    }
    const double h = pass.lever_a - pass.lever * own.offset;
    out.response[d] = own.offset + without_own * own.kept[d] + h * own.added[d];
    early = early * own.kept[d] + pass.lever_early * own.added[d];
    out.threshold[d] = pass.mean_a - pass.mean_v * out.response[d];
    out.early_s[d] = early;
    out.early_rpm[d] = pass.mean_early - pass.mean_v * early;
  }
  const auto covariance = [&](std::size_t d, std::size_t e) {
    double sum = 1 / own.total;
    for (std::size_t i = 0; i < 2; ++i)
      for (std::size_t k = 0; k < 2; ++k) sum += q[d][i] * covariance_[i][k] * q[e][k];
    return sum * own.kept[d] * own.kept[e];
  };
  for (std::size_t d = 0; d < 2; ++d) {
    const PassSums& pass = boundaries_[index].ways[d];
    out.response_var[d] = covariance(d, d) + own.added[d];
    if (pass.visits > 0)
      out.threshold_var[d] = 1 / pass.sum_w + pass.mean_v * pass.mean_v * out.response_var[d];
  }
  out.threshold_cov =
      boundaries_[index].ways[0].mean_v * boundaries_[index].ways[1].mean_v * covariance(0, 1);
  return out;
}

}  // namespace tachproof
