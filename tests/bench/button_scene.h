// The test gauge with buttons and a power-up, and what is done to it.
#pragma once

#include <string>
#include <vector>

#include "core/signal/profile.h"
#include "tests/bench/unit_scene.h"

namespace tachproof::test {

// `near` 1000 rpm below the anchor `lane`, `there` on it; the rest hangs from `shift`.
inline Gauge button_gauge() {
  Gauge gauge = test_gauge();
  gauge.anchors = {{"lane", 4000}, {"shift", 5500}};
  for (std::size_t i = 1; i < gauge.windows.size(); ++i) gauge.windows[i].anchor = i <= 2 ? "lane" : "shift";
  gauge.buttons = {
      {"set", TakeRpm{2, 3500, 4500}}, {"high", ShowPeak{4 * ns_per_s}}, {"glow", Dim{{1, 0.5, 0.2}}}};
  PowerUp& power_up = gauge.power_up.emplace();
  power_up.boot_from = 200 * ns_per_ms;
  power_up.boot_to = 600 * ns_per_ms;
  power_up.greets = Greeting{{top_blue, 0}, 300 * ns_per_ms};
  power_up.keeps = {"set"};
  gauge.supply = SupplyRange{9, 16};
  return gauge;
}

inline Action pressed(const std::string& button, double at_s) {
  return {from_seconds(at_s), Press{button, 100 * ns_per_ms}};
}
inline Action power_off(double at_s, double for_s) {
  return {from_seconds(at_s), PowerOff{from_seconds(for_s)}};
}
inline Action fed(double from_v, double to_v, double at_s, double for_s) {
  return {from_seconds(at_s), Supply{from_v, to_v, from_seconds(for_s)}};
}

struct Handled {
  Events events;
  double peak_rpm = 0;
  bool operator==(const Handled&) const = default;
};

inline Handled handle(const Gauge& gauge, const Behaviour& behaviour, const Signal& signal,
                      const std::vector<Action>& actions, std::uint64_t seed = 1) {
  SimulatedUnit unit(gauge, behaviour, gauge, seed);
  for (const Action& action : actions) unit.act(action);
  Handled handled;
  unit.run(signal.pulses(), signal.until(), handled.events);
  handled.peak_rpm = unit.peak_rpm();
  return handled;
}

inline Behaviour exact_with(FaultSetting f) {
  Behaviour behaviour = exact_behaviour();
  behaviour.faults = {std::move(f)};
  return behaviour;
}

}  // namespace tachproof::test
