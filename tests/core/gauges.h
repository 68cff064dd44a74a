// Gauges and units that tests share. The unit here is a sampled one, written
// apart from the core: it steps through time and asks next_window.
#pragma once

#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/timeline.h"
#include "core/signal/profile.h"

namespace tachproof::test {

// Three windows: dark, white above 3000, blue blinking above 5000.
inline Gauge small_gauge() {
  Gauge g;
  g.name = "small";
  g.pulses_per_rev = 2;
  g.lamps = {{"left", {"white", "blue"}}, {"right", {"magenta"}}};
  const Channels white = g.channel("left", "white"), blue = g.channel("left", "blue"),
                 magenta = g.channel("right", "magenta");
  g.windows = {{"quiet", 0, {}}, {"near", 3000, {white, 0}}, {"top", 5000, {magenta, blue}}};
  g.deadband = {8, Sits::below};
  g.blink = Blink{5, 0.5};
  g.tolerance.rpm = 3;
  g.tolerance.response_from = 0;
  g.tolerance.response_to = 100 * ns_per_ms;
  return g;
}

struct SampledUnit {
  Nanos response = 20 * ns_per_ms;
  double threshold_error_rpm = 0;  // added to every threshold
  Nanos sample = 100 * ns_per_us;

  std::vector<LampEvent> watch(const Gauge& gauge, const Profile& profile) const {
    std::vector<LampEvent> events;
    std::size_t window = 0;
    Nanos entered = 0;
    for (Nanos t = 0; t <= profile.duration(); t += sample) {
      const double believed = t < response ? 0.0 : profile.rpm_at(t - response) - threshold_error_rpm;
      const std::size_t now = next_window(gauge, window, believed);
      if (now != window) entered = t;
      window = now;
      const Cue& cue = gauge.windows[window].cue;
      Channels lit = cue.steady;
      if (cue.blinking != 0) {
        const double phase = to_seconds(t - entered) * gauge.blink->hz;
        if (phase - std::floor(phase) < gauge.blink->duty) lit |= cue.blinking;
      }
      if (events.empty() || events.back().lit != lit) events.push_back({t, lit});
    }
    return events;
  }
};

}  // namespace tachproof::test
