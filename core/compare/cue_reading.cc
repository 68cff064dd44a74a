#include "core/compare/cue_reading.h"

#include <algorithm>
#include <array>

#include "core/judge/dimming.h"

namespace tachproof {
namespace {

constexpr Nanos least_watched = 50 * ns_per_ms;
constexpr Nanos longest_half_period = ns_per_s;  // slower than that is no blink

struct Watched {
  Nanos total = 0, longest = 0;
  std::array<Nanos, max_channels> lit = {};
  std::array<bool, max_channels> blinked = {};
};

std::vector<LampEvent> without_dimming(std::span<const LampEvent> raw) {
  DimmingFilter filter;
  std::vector<LampEvent> events;
  filter.add(raw, events);
  filter.finish(events);
  return events;
}

// One stretch of a window: lamps from `event` on, which is the last before it.
void watch(Watched& window, std::span<const LampEvent> events, std::size_t event, Nanos from, Nanos until,
           std::size_t channels) {
  window.total += until - from;
  window.longest = std::max(window.longest, until - from);
  std::array<int, max_channels> changes = {};
  Channels before = events[event].lit;
  for (Nanos at = from; at < until; ++event) {
    const Nanos next = event + 1 < events.size() ? std::min(events[event + 1].at, until) : until;
    const Channels lit = events[event].lit;
    for (std::size_t c = 0; c < channels; ++c) {
      if ((lit >> c) & 1) window.lit[c] += next - at;
      if (((lit ^ before) >> c) & 1) ++changes[c];
    }
    before = lit;
    at = next;
  }
  // On, off and on again, or the reverse, and not long at rest. Within one
  // stretch: a boundary that is off makes a change or two at the ends of each.
  for (std::size_t c = 0; c < channels; ++c)
    window.blinked[c] |= changes[c] >= 3 && (until - from) / changes[c] < longest_half_period;
}

Cue cue_of(const Watched& window, std::size_t channels) {
  Cue cue;
  for (std::size_t c = 0; c < channels; ++c) {
    const double share = static_cast<double>(window.lit[c]) / static_cast<double>(window.total);
    const Channels bit = Channels{1} << c;
    if (window.blinked[c])
      cue.blinking |= bit;
    else if (share >= 0.5)
      cue.steady |= bit;
  }
  return cue;
}

}  // namespace

std::vector<std::optional<Cue>> shown_cues(const Gauge& gauge, std::span<const Reach> reaches,
                                           std::span<const LampEvent> raw, Nanos until) {
  const std::size_t channels = gauge.channels();
  const std::vector<LampEvent> events = without_dimming(raw);
  std::vector<Watched> watched(gauge.windows.size());
  std::size_t event = 0;
  for (std::size_t i = 0; i < reaches.size() && !events.empty(); ++i) {
    const Reach& reach = reaches[i];
    const Nanos end = std::min(i + 1 < reaches.size() ? reaches[i + 1].from : until, until);
    const Nanos from = std::max(reach.from, events.front().at);
    if (reach.lowest != reach.highest || reach.lowest >= watched.size() || from >= end) continue;
    while (event + 1 < events.size() && events[event + 1].at <= from) ++event;
    watch(watched[reach.lowest], events, event, from, end, channels);
  }

  std::vector<std::optional<Cue>> cues;
  for (std::size_t w = 0; w < watched.size(); ++w) {
    Nanos least = 0;
    if (gauge.windows[w].cue.blinking != 0 && gauge.blink) least = from_seconds(2 / gauge.blink->hz);
    const bool enough = watched[w].total >= least_watched && watched[w].longest >= least;
    cues.push_back(enough ? std::optional(cue_of(watched[w], channels)) : std::nullopt);
  }
  return cues;
}

}  // namespace tachproof
