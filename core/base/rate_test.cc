#include "core/base/rate_test.h"

#include <algorithm>
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

double PoissonSequential::expected_pass(double rate) const {
  return rate < slope_ ? pass_below_ / (rate - slope_) : std::numeric_limits<double>::infinity();
}

double PoissonSequential::expected_fail(double rate) const {
  return rate > slope_ ? fail_above_ / (rate - slope_) : std::numeric_limits<double>::infinity();
}

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

bool RateTest::is_under(double events, double minutes, bool ended) const {
  const double n = events / dispersion_, time = minutes / dispersion_;
  if (good_.decide(n, time) == Verdict::pass) return true;
  return ended && minutes > 0 && one_sided_upper(n, 1 - half_chance(confidence_)) <= limit_per_min_ * time;
}

bool RateTest::is_over(double events, double minutes, bool ended) const {
  const double n = events / dispersion_, time = minutes / dispersion_;
  if (bad_.decide(n, time) == Verdict::fail) return true;
  return ended && minutes > 0 && one_sided_lower(n, 1 - half_chance(confidence_)) > limit_per_min_ * time;
}

Verdict RateTest::decide(std::uint64_t events, double minutes) const {
  const bool ended = minutes >= planned_min_;
  const auto n = static_cast<double>(events);
  if (is_under(n, minutes, ended)) return Verdict::pass;
  return is_over(n, minutes, ended) ? Verdict::fail : Verdict::undecided;
}

double RateTest::earliest_pass_min() const { return good_.earliest_pass() * dispersion_; }

double RateTest::events_that_fail(double minutes) const {
  return bad_.fail_above() * dispersion_ + bad_.slope() * minutes;
}

double RateTest::expected_min(double rate_per_min) const {
  return dispersion_ * std::min(good_.expected_pass(rate_per_min), bad_.expected_fail(rate_per_min));
}

double RateTest::shortest_min(double limit_per_min, double confidence) {
  return one_sided_upper(0, 1 - half_chance(confidence)) / limit_per_min;
}

}  // namespace tachproof
