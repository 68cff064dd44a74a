// Every kind of the catalogue on the test gauge, with an effect beyond the
// gauge's tolerance.
#pragma once

#include <set>
#include <string>
#include <vector>

#include "bench/files/files.h"

namespace tachproof::test {

// Those show only where somebody presses a button or takes the supply away, which no proving profile does:
// they are proven on a gauge with buttons (pressed_fault_examples).
inline bool needs_a_hand(const std::string& kind) {
  static const std::set<std::string> kinds{
      "take-ignored",   "take-not-refused", "take-other-end", "take-late",  "take-lost",
      "settings-reset", "peak-not-cleared", "dim-missing",    "dim-colour", "slow-boot",
      "greets-wrong",   "supply-drift",     "brown-out",      "no-return"};
  return kinds.count(kind) > 0;
}

inline std::vector<FaultSetting> fault_examples() {
  return {{"boundary-moved", {{"boundary", "there"}}, {{"by_rpm", 5}}},
          {"boundary-moved", {{"boundary", "beyond"}}, {{"by_rpm", -5}}},
          {"deadband-missing", {}, {}},
          {"deadband-width", {}, {{"rpm", 30}}},
          {"deadband-side", {{"sits", "above"}}, {}},
          {"deadband-side", {{"sits", "centred"}}, {}},
          {"wrong-colour", {{"lamp", "left"}, {"to", "blue"}, {"window", "near"}}, {}},
          {"swapped-lamps", {{"lamp", "left"}, {"with", "right"}}, {}},
          {"stuck-on", {{"lamp", "right"}, {"colour", "magenta"}}, {}},
          {"stuck-off", {{"lamp", "left"}}, {}},
          {"blink-absent", {}, {}},
          {"blink-rate", {}, {{"hz", 5}}},
          {"blink-duty", {}, {{"duty", 0.5}}},
          {"wrong-pulses-per-rev", {}, {{"pulses_per_rev", 2}}},
          {"wrong-pulses-per-rev", {}, {{"pulses_per_rev", 3.01}}},
          {"slow-filter", {}, {{"ms", 200}}},
          {"slow-response", {}, {{"ms", 160}}},
          {"dropped-updates", {}, {{"share", 0.97}}},
          {"noisy-reading", {}, {{"rpm", 25}}},
          {"count-in-uneven", {{"boundary", "count-in-1"}}, {{"by_rpm", 40}}},
          {"over-rev-missing", {}, {}},
          {"intermittent-lamp", {{"lamp", "top"}}, {{"per_min", 60}}},
          {"freeze", {}, {{"at_s", 30}}},
          {"reset", {}, {{"at_s", 4.1}}}};
}

// The same for those that need a hand: on fixtures/gauges/drumlin-buttons.yaml, by scenarios/buttons.yaml.
inline std::vector<FaultSetting> pressed_fault_examples() {
  return {{"take-ignored", {}, {}},
          {"take-not-refused", {}, {}},
          {"take-other-end", {}, {}},
          {"take-late", {}, {{"by_ms", 1000}}},
          {"take-lost", {}, {}},
          {"settings-reset", {}, {{"by_rpm", 25}}},
          {"peak-not-cleared", {}, {}},
          {"dim-missing", {}, {{"level", 55}}},
          {"dim-colour", {{"lamp", "mid"}, {"to", "magenta"}}, {}},
          {"slow-boot", {}, {{"by_ms", 2500}}},
          {"greets-wrong", {{"lamp", "top"}}, {}}};
}

// Those of the voltage: on the same gauge, by scenarios/supply.yaml.
inline std::vector<FaultSetting> fed_fault_examples() {
  return {{"supply-drift", {}, {{"rpm_per_v", 2}}},
          {"supply-drift", {}, {{"rpm_per_v", -3}, {"at_v", 9}}},
          {"brown-out", {}, {{"at_v", 9.5}}},
          {"no-return", {}, {}}};
}

}  // namespace tachproof::test
