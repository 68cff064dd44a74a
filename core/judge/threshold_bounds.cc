#include "core/judge/threshold_bounds.h"

#include <algorithm>
#include <limits>

namespace tachproof {
namespace {

constexpr std::size_t most_kept = 12;

}  // namespace

void ThresholdBounds::seen(bool above, Nanos from, Nanos to, const RpmHistory& history) {
  const Glimpse here = look(from, to, history);
  // At some instant in from..to: r was under the rising threshold at one of these instants, so
  // the lowest of them was.
  keep(above ? falling_.high : rising_.low, here, above);
  if (last_ && last_->above != above) {
    Bounds& crossed = above ? rising_ : falling_;
    ++crossed.passes;
    keep(above ? crossed.high : crossed.low, look(last_->from, to, history), above);
  }
  last_ = Sight{above, from, to};
}

ThresholdBounds::Glimpse ThresholdBounds::look(Nanos from, Nanos to, const RpmHistory& history) const {
  Glimpse glimpse;
  glimpse.lasts_s = to_seconds(to - from);
  glimpse.spacing_s = std::max(glimpse.lasts_s + 1.25 * to_seconds(slowest_), 1e-3) / (Glimpse::samples - 1);
  glimpse.jumps = history.steps_between(to - from_seconds(glimpse.spacing_s * (Glimpse::samples - 1)), to);
  for (std::size_t k = 0; k < Glimpse::samples; ++k)
    glimpse.rpm[k] = history.rpm_at(to - from_seconds(glimpse.spacing_s * static_cast<double>(k)));
  return glimpse;
}

std::pair<double, double> ThresholdBounds::Glimpse::range(double fastest_s, double slowest_s) const {
  // One sample further on both sides: a step may lie between two.
  const double first = fastest_s / spacing_s - 1, last = (lasts_s + slowest_s) / spacing_s + 1;
  double least = std::numeric_limits<double>::infinity(), most = -least;
  for (std::size_t k = 0; k < samples; ++k) {
    if (static_cast<double>(k) < first || static_cast<double>(k) > last) continue;
    least = std::min(least, rpm[k]);
    most = std::max(most, rpm[k]);
  }
  return {least, most};
}

// Those that bind most for every response that may be asked for.
void ThresholdBounds::keep(std::vector<Glimpse>& kept, const Glimpse& glimpse, bool want_high) const {
  const double slowest_s = to_seconds(slowest_);
  const auto loose = [&](const Glimpse& g) {
    const auto [least, most] = g.range(0, slowest_s);
    return want_high ? most : -least;
  };
  if (kept.size() < most_kept) {
    kept.push_back(glimpse);
    return;
  }
  const auto worst = std::max_element(
      kept.begin(), kept.end(), [&](const Glimpse& a, const Glimpse& b) { return loose(a) < loose(b); });
  if (loose(glimpse) < loose(*worst)) *worst = glimpse;
}

ThresholdBounds::Between ThresholdBounds::between(Direction direction, const Responses& likely,
                                                  const Responses& allowed) const {
  const auto range = [&](const Glimpse& g) {
    const Responses& r = g.jumps ? allowed : likely;
    return g.range(r.fastest_s, r.slowest_s);
  };
  const Bounds& bounds = direction == Direction::rising ? rising_ : falling_;
  Between out;
  out.low_rpm = -std::numeric_limits<double>::infinity();
  out.high_rpm = std::numeric_limits<double>::infinity();
  out.passes = bounds.passes;
  for (const Glimpse& g : bounds.low) out.low_rpm = std::max(out.low_rpm, range(g).first);
  for (const Glimpse& g : bounds.high) out.high_rpm = std::min(out.high_rpm, range(g).second);
  return out;
}

}  // namespace tachproof
