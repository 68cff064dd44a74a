#include "core/base/rate_test.h"

#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <limits>

namespace tachproof {
namespace {

constexpr double sequential_share = 0.5;  // of the chance of a false word
constexpr double clear_ratio = 2;         // what the sequential tests tell apart

double half_chance(double confidence) { return (1 - confidence) * sequential_share; }

}  // namespace

PoissonSequential::PoissonSequential(double good, double bad, double false_fail, double false_pass) {
  const double g = std::log(bad / good);
  slope_ = (bad - good) / g;
  fail_above_ = std::log((1 - false_pass) / false_fail) / g;  // infinite when it must not fail
  pass_below_ = std::log(false_pass / (1 - false_fail)) / g;
}

double PoissonSequential::earliest_pass() const { return -pass_below_ / slope_; }

Verdict PoissonSequential::decide(double events, double time) const {
  const double excess = events - slope_ * time;
  if (excess >= fail_above_) return Verdict::fail;
  if (excess <= pass_below_) return Verdict::pass;
  return Verdict::undecided;
}

double one_sided_upper(double n, double confidence) {
  const boost::math::chi_squared chi2(2 * n + 2);
  return boost::math::quantile(boost::math::complement(chi2, 1 - confidence)) / 2;
}

double one_sided_lower(double n, double confidence) {
  if (n <= 0) return 0;
  return boost::math::quantile(boost::math::chi_squared(2 * n), 1 - confidence) / 2;
}

RateTest::RateTest(double limit_per_min, double confidence, double planned_min, double dispersion)
    : limit_per_min_(limit_per_min),
      confidence_(confidence),
      planned_min_(planned_min),
      dispersion_(dispersion),
      good_(limit_per_min / clear_ratio, limit_per_min, 0, half_chance(confidence)),
      bad_(limit_per_min, limit_per_min * clear_ratio, half_chance(confidence), 0) {}

Verdict RateTest::decide(std::uint64_t events, double minutes) const {
  const double n = static_cast<double>(events) / dispersion_;
  const double time = minutes / dispersion_;
  if (good_.decide(n, time) == Verdict::pass) return Verdict::pass;
  if (bad_.decide(n, time) == Verdict::fail) return Verdict::fail;
  if (minutes < planned_min_ || minutes <= 0) return Verdict::undecided;
  const double at_end = 1 - half_chance(confidence_);
  if (one_sided_upper(n, at_end) <= limit_per_min_ * time) return Verdict::pass;
  if (one_sided_lower(n, at_end) > limit_per_min_ * time) return Verdict::fail;
  return Verdict::undecided;
}

double RateTest::shortest_min(double limit_per_min, double confidence) {
  return one_sided_upper(0, 1 - half_chance(confidence)) / limit_per_min;
}

}  // namespace tachproof
