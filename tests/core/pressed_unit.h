// A unit with buttons and a supply, as a plain state machine that steps through time: written from
// what a gauge file says, apart from core/judge and from the simulated unit.
#pragma once

#include <algorithm>
#include <cmath>
#include <map>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/expected_states.h"
#include "core/judge/state_judge.h"
#include "core/judge/timeline.h"
#include "core/signal/profile.h"

namespace tachproof::test {

// The Drumlin of the demo, as the contract has it, with a limit of its own.
inline Gauge pressed_gauge() {
  Gauge g;
  g.name = "pressed";
  g.pulses_per_rev = 3;
  g.anchors = {{"pit", 3720}, {"shift", 7600}};
  g.lamps = {{"left", {"white", "blue"}}, {"right", {"magenta"}}};
  const Channels white = g.channel("left", "white"), blue = g.channel("left", "blue"),
                 magenta = g.channel("right", "magenta");
  g.windows = {{"quiet", 0, {}, ""},
               {"closing", 3460, {white, 0}, "pit"},
               {"on-limit", 3610, {blue, 0}, "pit"},
               {"beyond", 3720, {magenta, 0}, "pit"},
               {"running", 4140, {white | magenta, 0}, "pit"},
               {"shift", 7600, {blue | magenta, 0}, "shift"}};
  g.deadband = {7, Sits::below};
  g.tolerance.rpm = 3;
  g.supply = SupplyRange{9, 16};
  g.tolerance.response_to = 120 * ns_per_ms;
  g.buttons = {
      {"set", TakeRpm{3, 2500, 5500}}, {"high", ShowPeak{4 * ns_per_s}}, {"glow", Dim{{1, 0.55, 0.25}}}};
  g.power_up =
      PowerUp{200 * ns_per_ms, 1500 * ns_per_ms, Greeting{{blue | magenta, 0}, 600 * ns_per_ms}, {"set"}};
  return g;
}

struct PressedUnit {
  Nanos response = 30 * ns_per_ms;
  Nanos boots = 700 * ns_per_ms;
  Nanos step = 500 * ns_per_us;
  double pwm_hz = 100;
  bool ignores = false, never_refuses = false, loses = false, dims = true;
  double takes_off_by = 0;
  double limit_off_by = 0;  // of boundary on-limit, whatever was taken
  bool greets_wrong = false;
  // For 120 ms after a button went down, or after it has greeted, it shows these.
  Channels strange = 0;
  double comes_back_off_by = 0;  // all that hangs from pit, after a loss of power
  // Fed less it is off at once; fed more again it boots, or never does. All boundaries move with the voltage.
  double lowest_v = 6;
  bool returns = true;
  double drift_rpm_per_v = 0;  // from 12.5 V

  std::vector<LampEvent> watch(const Gauge& set, const Profile& profile) const {
    std::vector<LampEvent> events;
    std::map<std::string, double> anchors;
    std::size_t level = 0, next = 0, window = 0;
    Nanos off_until = 0, awake_at = 0, forget = 0, strange_until = 0, fed_at = 0;
    double off_by = 0;
    Supply fed{12.5, 12.5, 0};
    bool starves = false;
    const auto& actions = profile.actions();
    const auto off = [&](Nanos until) {
      off_until = std::max(until, off_until);
      awake_at = off_until + boots;
      forget = awake_at;
      window = 0;
      level = 0;
      if (loses) anchors.clear();
      off_by = comes_back_off_by;
      strange_until = awake_at + 720 * ns_per_ms;
    };
    for (Nanos t = 0; t <= profile.duration(); t += step) {
      for (; next < actions.size() && actions[next].at <= t; ++next) {
        if (const auto* cut = std::get_if<PowerOff>(&actions[next].what)) {
          off(actions[next].at + cut->lasts);
        } else if (const auto* supply = std::get_if<Supply>(&actions[next].what)) {
          fed = *supply;
          fed_at = actions[next].at;
        } else if (const auto* press = std::get_if<Press>(&actions[next].what); press && t >= awake_at) {
          const double rpm = std::round(profile.rpm_at(actions[next].at));
          strange_until = actions[next].at + 120 * ns_per_ms;
          if (press->action == "set" && !ignores && (never_refuses || (rpm >= 2500 && rpm <= 5500)))
            anchors["pit"] = rpm + takes_off_by;
          if (press->action == "glow" && dims) level = (level + 1) % 3;
        }
      }
      const double done = fed.lasts > 0 ? std::min(1.0, to_seconds(t - fed_at) / to_seconds(fed.lasts)) : 1;
      const double volts = fed.from_v + done * (fed.to_v - fed.from_v);
      if (volts < lowest_v) off(t + step);
      starves = starves || volts < lowest_v;
      if (starves && !returns) awake_at = profile.duration() + 1;
      Channels lit = 0;
      if (t >= off_until && t >= awake_at && t < awake_at + 600 * ns_per_ms && awake_at > 0) {
        lit = greets_wrong ? Channels{1} : set.power_up->greets->cue.steady;
      } else if (t >= off_until && t >= awake_at) {
        const double believed = t - response < forget ? 0.0 : profile.rpm_at(t - response);
        for (;;) {
          const auto from = [&](std::size_t w) {
            const Window& it = set.windows[w];
            const auto moved = anchors.find(it.anchor);
            return it.from_rpm + (it.name == "on-limit" ? limit_off_by : 0) +
                   (it.anchor == "pit" ? off_by : 0) + drift_rpm_per_v * (volts - 12.5) +
                   (moved == anchors.end() ? 0 : moved->second - 3720);
          };
          if (window + 1 < set.windows.size() && believed >= from(window + 1))
            ++window;
          else if (window > 0 && believed < from(window) - set.deadband.rpm)
            --window;
          else
            break;
        }
        lit = set.windows[window].cue.steady;
        const double share = std::get<Dim>(set.buttons[2].does).levels[level];
        const double phase = to_seconds(t) * pwm_hz;
        if (phase - std::floor(phase) >= share) lit = 0;
      }
      const bool greeting = awake_at > 0 && t < awake_at + 600 * ns_per_ms;
      if (strange != 0 && t < strange_until && !greeting) lit = strange;
      if (events.empty() || events.back().lit != lit) events.push_back({t, lit});
    }
    return events;
  }
};

inline RunResult judged_pressed(const Gauge& gauge, const Profile& profile,
                                const std::vector<LampEvent>& events, bool thresholds = true) {
  JudgeSetup setup;
  setup.what.thresholds = thresholds;
  setup.bench.watcher.resolution = 50 * ns_per_us;
  StateJudge judge(gauge, setup);
  tell(judge, profile);
  judge.lamps(events);
  return judge.finish(profile.duration());
}

}  // namespace tachproof::test
