#include "core/judge/gap_watch.h"

#include <algorithm>

#include "core/base/text.h"

namespace tachproof {
namespace {

// Never so long that a blink's shorter phase would pass for lamps of one change.
Nanos settling(const Gauge& gauge) {
  const Nanos settle = gauge.tolerance.settle;
  return gauge.blink ? std::min(settle, from_seconds(gauge.blink->shorter_phase_s() / 4)) : settle;
}

}  // namespace

GapWatch::GapWatch(const Gauge& gauge, const JudgeSetup& setup)
    : gauge_(gauge),
      setup_(setup),
      wired_(setup.wired & gauge.all_channels()),
      pictures_(settling(gauge), setup.bench.watcher.resolution, [gauge, wired = wired_](Channels lit) {
        return std::any_of(gauge.windows.begin(), gauge.windows.end(), [&](const Window& window) {
          return (lit & ~window.cue.blinking) == (window.cue.steady & ~window.cue.blinking & wired);
        });
      }) {}

void GapWatch::lamps(std::span<const LampEvent> events) {
  std::vector<LampEvent> wired(events.begin(), events.end());
  for (LampEvent& event : wired) event.lit &= wired_;
  pictures_.add(wired);
  take_pictures();
}

void GapWatch::take_pictures() {
  for (; pictures_.next() != nullptr; pictures_.pop()) shown_.push_back(*pictures_.next());
}

bool GapWatch::shows(std::size_t window, Channels lit) const {
  const Cue& cue = gauge_.windows[window].cue;
  return (lit & ~cue.blinking) == (cue.steady & ~cue.blinking & wired_);
}

std::vector<GapWatch::Allowed> GapWatch::allowed_in(const UnitState& state, const Gap& gap) const {
  Gauge gauge = state.gauge;
  gauge.tolerance.rpm += state.doubt_rpm;
  JudgeSetup setup = setup_;
  setup.before = ExpectationOptions::Before::unknown;
  Expectation expectation(gauge, expectation_options(gauge, setup));
  for (const Segment& segment : *gap.rpm) expectation.add(segment);
  expectation.finish(gap.to);
  // Before anything is known of it, any window.
  std::vector<Allowed> all{{0, 0, gauge.boundaries()}};
  for (const Reach& reach : expectation.take(gap.to).reaches)
    all.push_back({reach.from, gap.from_below ? 0 : reach.lowest, reach.highest});
  return all;
}

std::optional<Finding> GapWatch::strange(const Gap& gap) {
  pictures_.finish(gap.to);
  take_pictures();
  std::vector<std::vector<Allowed>> allowed;
  std::vector<Nanos> changes;
  for (const UnitState& state : gap.states) {
    if (!state.unknown.empty()) return std::nullopt;
    allowed.push_back(allowed_in(state, gap));
    for (const Allowed& one : allowed.back()) changes.push_back(one.from);
  }
  const auto may_show = [&](Nanos t, Channels lit) {
    return std::any_of(allowed.begin(), allowed.end(), [&](const std::vector<Allowed>& state) {
      const auto next = std::upper_bound(state.begin(), state.end(), t,
                                         [](Nanos at, const Allowed& one) { return at < one.from; });
      const Allowed& now = *std::prev(next);
      for (std::size_t w = now.lowest; w <= now.highest; ++w)
        if (shows(w, lit)) return true;
      return false;
    });
  };
  // A dimmed lamp is known by its second cycle, and lamps of one change need not go together.
  constexpr Nanos one_cycle = 25 * ns_per_ms;
  const Nanos slack = gauge_.tolerance.settle + setup_.bench.watcher.resolution + one_cycle / 2;
  for (std::size_t i = 0; i < shown_.size(); ++i) {
    const Nanos begins = std::max(shown_[i].at, gap.from);
    const Nanos ends = std::min(i + 1 < shown_.size() ? shown_[i + 1].at : gap.to, gap.to);
    const Nanos from = begins + slack, to = ends - slack;
    if (to <= from) continue;
    std::vector<Nanos> instants{from};
    for (const Nanos t : changes)
      if (t > from && t < to) instants.push_back(t);
    std::sort(instants.begin(), instants.end());
    for (const Nanos t : instants) {
      if (gap.disturbed->any(t - gauge_.tolerance.response_to, t + 1) || may_show(t, shown_[i].lit)) continue;
      const std::string lit = gauge_.describe(shown_[i].lit);
      return Finding{
          FindingKind::wrong_cue, begins, "", lit,
          (shown_[i].lit == 0 ? "no lamp was lit" : lit + " was lit") + std::string(" from ") +
              say_time(begins) + " for " + say_span(ends - begins) + ", " + gap.since +
              ": neither the boundaries before that nor those after it allow this. Look at the lamps "
              "while the button is pressed, and check its wire"};
    }
  }
  return std::nullopt;
}

}  // namespace tachproof
