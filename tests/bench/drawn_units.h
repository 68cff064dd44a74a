// Random gauges with buttons and a supply, and simulated units of them.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <random>
#include <string>
#include <vector>

#include "bench/run/fault_trials.h"
#include "bench/run/rig_model.h"
#include "tests/bench/told_of.h"

namespace tachproof::test {

// TACHPROOF_UNITS, or few.
inline std::size_t units() {
  const char* asked = std::getenv("TACHPROOF_UNITS");
  return asked != nullptr ? std::strtoul(asked, nullptr, 10) : 12;
}

class Drawn {
 public:
  explicit Drawn(std::uint64_t seed) : random_(seed) {}

  double between(double low, double high) { return std::uniform_real_distribution<>(low, high)(random_); }
  double whole(double low, double high) { return std::round(between(low, high)); }
  bool chance(double share) { return between(0, 1) < share; }

  Gauge gauge() {
    Gauge g;
    g.name = "drawn";
    g.pulses_per_rev = whole(1, 4);
    const double pit = whole(3000, 5000);
    g.anchors = {{"pit", pit}};
    g.lamps = {{"left", {"white", "blue"}}, {"right", {"magenta", "blue"}}};
    const Channels a = 1, b = 2, c = 4, d = 8;
    const double below = whole(60, 200), above = whole(60, 300);
    g.windows = {{"under", 0, {}, ""},
                 {"near", pit - below - whole(60, 200), {a, 0}, "pit"},
                 {"at", pit - below, {b, 0}, "pit"},
                 {"past", pit, {c, 0}, "pit"},
                 {"far", pit + above, {a | d, 0}, "pit"}};
    g.deadband = {whole(3, 12), chance(0.7) ? Sits::below : Sits::centred};
    g.tolerance.rpm = between(2, 5);
    g.tolerance.response_to = static_cast<Nanos>(between(80, 250)) * ns_per_ms;
    g.buttons = {{"mark", TakeRpm{static_cast<std::size_t>(whole(2, 3)), 2400, 5600}},
                 {"top", ShowPeak{3 * ns_per_s}},
                 {"lux", Dim{{1, between(0.4, 0.7), between(0.1, 0.3)}}}};
    const Nanos boot = static_cast<Nanos>(whole(50, 400)) * ns_per_ms;
    g.power_up = PowerUp{boot, boot + static_cast<Nanos>(whole(300, 900)) * ns_per_ms, {}, {}};
    if (chance(0.7))
      g.power_up->greets = Greeting{{a | c, 0}, static_cast<Nanos>(whole(300, 900)) * ns_per_ms};
    if (chance(0.5)) g.power_up->keeps = {"mark"};
    return g;
  }

  Behaviour behaviour(const Gauge& g) {
    Behaviour b;
    b.update_hz = between(50, 200);
    b.averaging_ms = between(5, 15);
    b.response_ms = between(2, to_ms(g.tolerance.response_to) - 60);
    b.resolution_rpm = chance(0.5) ? 1.0 : 0.5;
    b.timer_hz = 1e6;
    return b;
  }

 private:
  std::mt19937_64 random_;
};

inline void pass(std::vector<Step>& steps, const Gauge& g) {
  const double low = g.windows[1].from_rpm - 80, high = g.windows.back().from_rpm + 80;
  for (const double rate : {60.0, 60.0, 300.0, 300.0}) {
    steps.insert(steps.end(), {RampByRate{high, rate}, Hold{high, 600 * ns_per_ms}, RampByRate{low, rate},
                               Hold{low, 600 * ns_per_ms}});
  }
}

inline RunResult run_drawn(const Gauge& gauge, const Behaviour& behaviour, const Profile& profile,
                           std::uint64_t seed) {
  TrialScenario scenario;
  scenario.name = "drawn";
  scenario.profile = profile;
  scenario.seed = seed;
  return FaultTrials(gauge, scenario, RigModel{}).healthy(behaviour);
}

}  // namespace tachproof::test
