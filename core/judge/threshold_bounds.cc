#include "core/judge/threshold_bounds.h"

#include <algorithm>
#include <limits>

namespace tachproof {
namespace {

constexpr std::size_t most_kept = 12;

}  // namespace

void ThresholdBounds::seen(bool above, Nanos from, Nanos to, const RpmHistory& history) {
  // At some instant in from..to: r was under the rising threshold at one of these instants, so
  // the lowest of them was.
  const bool crossed_now = last_ && last_->above != above;
  const Nanos since = last_ && !crossed_now ? last_->side_since : from;
  const bool just_crossed = last_ && from - since < slowest_ + slowest_ / 4;
  keep(above ? falling_.high : rising_.low, {from, to, just_crossed}, history, above);
  if (crossed_now) {
    Bounds& crossed = above ? rising_ : falling_;
    ++crossed.passes;
    keep(above ? crossed.high : crossed.low, {last_->from, to, false}, history, above);
  }
  last_ = Sight{above, from, to, since};
}

ThresholdBounds::Glimpse ThresholdBounds::look(const Stretch& stretch, const RpmHistory& history) const {
  const auto [from, to, just_crossed] = stretch;
  Glimpse glimpse;
  glimpse.just_crossed = just_crossed;
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
void ThresholdBounds::keep(Kept& kept, const Stretch& stretch, const RpmHistory& history,
                           bool want_high) const {
  if (kept.glimpses.size() == most_kept) {
    // Most sights bind no more than those that are kept: seen before r is sampled.
    const auto [least, most] = history.range_between(stretch.from - slowest_, stretch.to);
    if ((want_high ? most : -least) >= kept.glimpses[kept.loosest].binds_rpm) return;
  }
  Glimpse glimpse = look(stretch, history);
  const auto [least, most] = glimpse.range(0, to_seconds(slowest_));
  glimpse.binds_rpm = want_high ? most : -least;
  if (kept.glimpses.size() < most_kept)
    kept.glimpses.push_back(glimpse);
  else if (glimpse.binds_rpm < kept.glimpses[kept.loosest].binds_rpm)
    kept.glimpses[kept.loosest] = glimpse;
  else
    return;
  const auto loosest =
      std::max_element(kept.glimpses.begin(), kept.glimpses.end(),
                       [](const Glimpse& a, const Glimpse& b) { return a.binds_rpm < b.binds_rpm; });
  kept.loosest = static_cast<std::size_t>(loosest - kept.glimpses.begin());
}

ThresholdBounds::Between ThresholdBounds::between(Direction direction, const Responses& likely,
                                                  const Responses& either_way,
                                                  const Responses& allowed) const {
  const auto range = [&](const Glimpse& g) {
    const Responses& r = g.jumps ? allowed : g.just_crossed ? either_way : likely;
    return g.range(r.fastest_s, r.slowest_s);
  };
  const Bounds& bounds = direction == Direction::rising ? rising_ : falling_;
  Between out;
  out.low_rpm = -std::numeric_limits<double>::infinity();
  out.high_rpm = std::numeric_limits<double>::infinity();
  out.passes = bounds.passes;
  for (const Glimpse& g : bounds.low.glimpses) out.low_rpm = std::max(out.low_rpm, range(g).first);
  for (const Glimpse& g : bounds.high.glimpses) out.high_rpm = std::min(out.high_rpm, range(g).second);
  return out;
}

}  // namespace tachproof
