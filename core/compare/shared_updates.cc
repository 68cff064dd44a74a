#include "core/compare/shared_updates.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "core/base/portable_math.h"

namespace tachproof {
namespace {

// Units round to 1 rpm (rectangular, GUM 4.3.7), and so does their threshold.
constexpr double rounding_rpm = 0.29;

double alike(double apart_s, double period_s) {
  const double turns = apart_s / period_s, x = turns - std::floor(turns);
  return 1 - 6 * x * (1 - x);
}

// The same where the instants are known to a standard deviation only: its Fourier series
// (ibid., 23.1.18), each part less by what a normal distribution leaves of it. Four parts; the
// others would only say that visits at one phase are alike.
double alike_about(double apart_s, double standard_s, double period_s) {
  constexpr double two_pi_squared = 19.7392088;
  const double turns = apart_s / period_s, spread = standard_s / period_s;
  const double cosine = portable::sine_cosine_of_turns(turns - std::floor(turns)).cosine;
  const double left = portable::exp(-std::min(two_pi_squared * spread * spread, 600.0));
  double before = 1, now = cosine, left_of_part = left, step = left * left * left, sum = 0;
  for (int k = 1; k <= 4; ++k) {
    sum += 12 / two_pi_squared / (k * k) * now * left_of_part;
    before = std::exchange(now, 2 * cosine * now - before);
    left_of_part *= step;  // left to the power of k squared
    step *= left * left;
  }
  return sum;
}

}  // namespace

double UpdatesOfRuns::standard_s() const { return std::hypot(period_s[0], period_s[1]) / std::sqrt(12.0); }

double UpdatesOfRuns::bound_s() const { return std::max(period_s[0], period_s[1]); }

double variance_by_updates(const Weights& weights, const std::vector<LagPair>& pairs,
                           const UpdatesOfRuns& updates) {
  std::vector<std::size_t> used;
  for (std::size_t i = 0; i < weights.size(); ++i)
    if (weights[i] != 0) used.push_back(i);
  double sum = 0;
  for (std::size_t a = 0; a < used.size(); ++a)
    for (std::size_t b = 0; b <= a; ++b) {
      const LagPair &one = pairs[used[a]], &other = pairs[used[b]];
      const double weight = weights[used[a]] * weights[used[b]];
      for (const std::size_t k : {0u, 1u}) {
        const double period_s = updates.period_s[k], twelfth = period_s * period_s / 12;
        const double apart_s = k == 0 ? one.before_s - other.before_s : one.after_s - other.after_s;
        double part = weight * twelfth * alike(apart_s, period_s);
        const double x = 1 / rate_of(one), y = 1 / rate_of(other);
        const double rpm = std::max(updates.scatter_rpm[k], rounding_rpm);
        if (part < 0 && a != b)
          part = weight * twelfth * alike_about(apart_s, rpm * std::hypot(x, y), period_s);
        else if (x != y)
          part = weight * twelfth * alike_about(apart_s, rpm * std::abs(x - y), period_s);
        sum += a == b ? part : 2 * part;
      }
    }
  return std::max(sum, 0.0);
}

}  // namespace tachproof
