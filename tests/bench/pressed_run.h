// Runs of a unit that is pressed, dimmed, and loses its supply: played by the plain state machine
// of tests/core, judged, and put into a record as a run of the bench would be.
#pragma once

#include "tests/bench/drumlin_run.h"
#include "tests/core/pressed_unit.h"

namespace tachproof::pressed {

inline void hold_and_press(std::vector<Step>& steps, double rpm, const char* button) {
  steps.insert(steps.end(), {RampByTime{rpm, ns_per_s}, Hold{rpm, 500 * ns_per_ms},
                             Press{button, 200 * ns_per_ms}, Hold{rpm, 2 * ns_per_s}});
}

// Slowly past everything that hangs from the pit anchor, wherever a press of this run may have put it.
inline void cross(std::vector<Step>& steps) {
  steps.push_back(RampByTime{3100, ns_per_s});
  for (const double rate : {60.0, 240.0}) {
    steps.push_back(RampByRate{4700, rate});
    steps.push_back(Hold{4700, 500 * ns_per_ms});
    steps.push_back(RampByRate{3100, rate});
    steps.push_back(Hold{3100, 500 * ns_per_ms});
  }
}

// A take that counts, one that must be refused, two levels of dimming, and a loss of power.
inline Profile everything() {
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}};
  cross(steps);
  hold_and_press(steps, 4000, "set");
  cross(steps);
  hold_and_press(steps, 2300, "set");
  cross(steps);
  hold_and_press(steps, 3950, "glow");
  hold_and_press(steps, 3950, "glow");
  steps.insert(steps.end(), {PowerOff{2 * ns_per_s}, Hold{3950, 4 * ns_per_s}});
  cross(steps);
  return Profile(steps);
}

// Pressed at the very end: nobody sees what the unit made of it.
inline Profile too_short() {
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}};
  cross(steps);
  hold_and_press(steps, 4000, "set");
  return Profile(steps);
}

inline drumlin::Run run_of(const Profile& profile, const test::PressedUnit& unit) {
  drumlin::Run run;
  run.record = drumlin::begun();
  const Gauge gauge = test::pressed_gauge();
  run.record.gauge = gauge;
  run.record.gauge_name = gauge.name;
  run.record.scenario_name = "buttons";
  run.trace.lamps = unit.watch(gauge, profile);
  run.record.result = test::judged_pressed(gauge, profile, run.trace.lamps);
  for (const Segment& segment : profile.segments()) {
    run.trace.rpm.push_back({segment.start.whole, segment.rpm(0)});
    run.trace.rpm.push_back(
        {segment.start.whole + from_seconds(segment.lasts_s), segment.rpm(segment.lasts_s)});
  }
  return run;
}

inline drumlin::Run passing() { return run_of(everything(), {}); }
// Its button does nothing, its levels neither, and it is slow to wake.
inline drumlin::Run failing() {
  test::PressedUnit unit;
  unit.ignores = true;
  unit.boots = 1700 * ns_per_ms;
  return run_of(everything(), unit);
}
inline drumlin::Run undecided() { return run_of(too_short(), {}); }

}  // namespace tachproof::pressed
