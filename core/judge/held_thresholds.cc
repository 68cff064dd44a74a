#include "core/judge/held_thresholds.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/base/rpm.h"
#include "core/judge/thresholds.h"

namespace tachproof {

HeldThresholds::HeldThresholds(const Gauge& gauge, const JudgeSetup& setup)
    : pulses_per_rev_(gauge.pulses_per_rev),
      longest_s_(to_seconds(gauge.tolerance.response_to + gauge.tolerance.settle + setup.bench.source.lag)),
      widest_rpm_(2 * gauge.tolerance.rpm),
      takes_(is_quiet_survey(setup)),
      passes_(2 * gauge.windows.size()) {}

void HeldThresholds::changed(std::size_t from_window, std::size_t to_window, Nanos at,
                             const RpmHistory& history) {
  const bool rising = to_window > from_window;
  if (!takes_ || (rising ? to_window - from_window : from_window - to_window) != 1) return;
  const auto second = history.still_at(at);
  const auto first = second ? history.still_at(second->since - 1) : std::nullopt;
  if (!first || to_seconds(at - second->since) > longest_s_ || to_seconds(at - first->since) < longest_s_)
    return;
  const double before = history.rpm_at(first->since - 1), sign = rising ? 1 : -1;
  if (std::abs(second->rpm - first->rpm) > widest_rpm_) return;
  // One way all the time: what is left of the jump then makes the reading fall short.
  if (!(sign * (first->rpm - before) >= 0) || !(sign * (second->rpm - first->rpm) > 0)) return;
  auto& passes =
      passes_[way_of(std::max(from_window, to_window), rising ? Direction::rising : Direction::falling)];
  if (passes.size() == most_kept) return;
  passes.push_back({first->rpm, second->rpm, first->rpm - before, to_seconds(second->since - first->since)});
}

HeldThresholds::Between HeldThresholds::between(std::size_t way, const JumpMemory& memory) const {
  if (!memory.known() || passes_[way].empty()) return {};
  Between out{-std::numeric_limits<double>::infinity(), std::numeric_limits<double>::infinity(), 0};
  for (const Pass& pass : passes_[way]) {
    const double pulse_s = pulse_period_s(pulses_per_rev_, pass.short_rpm);
    const double reached_rpm = pass.short_rpm - pass.jump_rpm * memory.left_after(pass.held_s, pulse_s);
    out.low_rpm = std::max(out.low_rpm, std::min(reached_rpm, pass.beyond_rpm));
    out.high_rpm = std::min(out.high_rpm, std::max(reached_rpm, pass.beyond_rpm));
    ++out.passes;
  }
  // Visits that contradict each other tell nothing but the unit's scatter.
  if (!(out.low_rpm < out.high_rpm)) return {};
  return out;
}

}  // namespace tachproof
