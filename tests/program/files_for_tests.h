// Small input files for runs of the whole program.
#pragma once

#include <string>

namespace tachproof::files {

inline const std::string gauge = R"(format: 1
kind: gauge
name: Two-lamp gauge
pulses_per_rev: 2
anchors: {pit: 3000}
lamps:
  - {id: near, colours: [white]}
  - {id: far, colours: [magenta]}
windows:
  - {name: calm, from: 0, show: {}}
  - {name: brisk, from: {pit: 0}, show: {near: white}}
  - {name: hasty, from: {pit: 1000}, show: {near: white, far: magenta}}
deadband: {rpm: 10, sits: below}
tolerance: {rpm: 3, response_ms: {from: 0, to: 120}, settle_ms: 10}
)";

inline const std::string scenario = R"(format: 1
kind: scenario
name: up and down
seed: 7
profile:
  - {hold: 2000, for: 1s}
  - {ramp: 5000, rate: 500}
  - {hold: 5000, for: 500ms}
  - {ramp: 2000, rate: 500}
  - {hold: 2000, for: 1s}
judge: {transitions: true, steady: true, blink: true, thresholds: false}
)";

// Slow and quick ramps over both boundaries: every threshold is measured.
inline const std::string measuring_scenario = R"(format: 1
kind: scenario
name: up and down
seed: 7
profile:
  - {hold: 2900, for: 1s}
  - repeat: 2
    steps: [{ramp: 4150, rate: 25}, {hold: 4150, for: 500ms}, {ramp: 2900, rate: 25}, {hold: 2900, for: 500ms}]
  - {ramp: 4150, rate: 250}
  - {hold: 4150, for: 500ms}
  - {ramp: 2900, rate: 250}
  - {hold: 2900, for: 1s}
)";

inline std::string scenario_with_question() {
  const std::size_t end = scenario.find("judge:");
  return scenario.substr(0, end) + "  - {ask: \"Which lamp is on?\", expect: {equals: near}}\n" +
         scenario.substr(end);
}

// As long as a scenario may be; a test stops it when it has begun.
inline const std::string endless_scenario = R"(format: 1
kind: scenario
name: endless
seed: 7
profile:
  - {hold: 2500, for: 168h}
judge: {transitions: true, steady: true, blink: true, thresholds: false}
)";

inline const std::string rig = R"(format: 1
kind: rig
source: {kind: simulated}
watch: {kind: simulated, unit: gauge.yaml, behaviour: {response_ms: 20, faults: []}}
)";

// The same gauge, whose far lamp comes on 40 rpm late.
inline const std::string faulty_rig = R"(format: 1
kind: rig
source: {kind: simulated}
watch:
  kind: simulated
  unit: gauge.yaml
  behaviour: {response_ms: 20, faults: [{kind: boundary-moved, boundary: hasty, by_rpm: 40}]}
)";

inline const std::string wiring = R"(format: 1
kind: wiring
tach: tach
lamps: {near: {white: near.white}, far: {magenta: far.magenta}}
active: high
)";

// The text with the first `from` in it replaced.
inline std::string replaced(std::string text, const std::string& from, const std::string& to) {
  return text.replace(text.find(from), from.size(), to);
}

}  // namespace tachproof::files
