#include "core/compare/shared_updates.h"

#include <algorithm>
#include <cmath>

#include "core/base/portable_math.h"

namespace tachproof {
namespace {

constexpr double rounding_rpm = 0.29;

double alike(double apart_s, double period_s) {
  const double turns = apart_s / period_s, x = turns - std::floor(turns);
  return 1 - 6 * x * (1 - x);
}

bool same_line(const LagPair& a, const LagPair& b) {
  return a.boundary == b.boundary && a.direction == b.direction;
}

// What is left of a match of phases when the instants are not known to better than this.
double left_of_it(const LagPair& a, const LagPair& b, double period_s) {
  const double one = 1 / rate_of(a), other = 1 / rate_of(b);
  const double apart = rounding_rpm * (same_line(a, b) ? one - other : std::hypot(one, other)) / period_s;
  return portable::exp(-std::min(19.7392088 * apart * apart, 600.0));  // 2 pi^2: the first harmonic
}

}  // namespace

double UpdatesOfRuns::standard_s() const { return std::hypot(period_s[0], period_s[1]) / std::sqrt(12.0); }

double UpdatesOfRuns::bound_s() const { return std::max(period_s[0], period_s[1]); }

double variance_by_updates(const Weights& weights, const std::vector<LagPair>& pairs,
                           const UpdatesOfRuns& updates) {
  std::vector<std::size_t> used;
  for (std::size_t i = 0; i < weights.size(); ++i)
    if (weights[i] != 0) used.push_back(i);
  const double shortest_s = std::min(updates.period_s[0], updates.period_s[1]);
  double sum = 0;
  for (std::size_t a = 0; a < used.size(); ++a) {
    const LagPair& one = pairs[used[a]];
    for (std::size_t b = 0; b <= a; ++b) {
      const LagPair& other = pairs[used[b]];
      const double before = updates.period_s[0] * updates.period_s[0] / 12 *
                            alike(one.before_s - other.before_s, updates.period_s[0]);
      const double after = updates.period_s[1] * updates.period_s[1] / 12 *
                           alike(one.after_s - other.after_s, updates.period_s[1]);
      double part = weights[used[a]] * weights[used[b]] * (before + after);
      if (part < 0) part *= left_of_it(one, other, shortest_s);
      sum += a == b ? part : 2 * part;
    }
  }
  return std::max(sum, 0.0);
}

}  // namespace tachproof
