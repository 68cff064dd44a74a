// One pair of the study: what a unit should be, what it is, what it was driven through, and what is the
// truth.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/signal/noise.h"
#include "tests/study/oracle.h"

namespace tachproof::study {

struct Pair {
  std::uint64_t seed = 0, number = 0;
  Gauge gauge;
  RoadKind kind = RoadKind::acceptance;
  Road road;
  bool recording = false;
  Nanos resolution = 1;  // of the recording's stamps
  Spoiled spoiled;       // a recording's signal
  Noise noise;           // a run's, scripted
  Unit unit;
  double used_up = 0;       // the share of its tolerances that the unit uses up beside its fault
  std::string fault;        // "" : none
  double magnitude = 0;     // by its tolerance, where there is more and less of it
  bool blink_only = false;  // the fault is at a boundary whose sides differ by blinking only
  TachLine line;
  Shown shown;
  Told told;

  std::string disturbance() const;  // for the tables
  std::string describe() const;
};

// Disturbed or not, sound or not, by recording or run: drawn; what is between is drawn again.
Pair draw_pair(std::uint64_t seed, std::uint64_t number);

const std::vector<std::string>& fault_names();
// Puts the fault into the unit, where the gauge and the road have room for it. Whether it can be seen is the
// oracle's word.
bool put_fault(const std::string& name, Pair& pair, const Oracle& oracle, Draw& draw);

// A unit of any physics that fits the gauge's response, `share` of every tolerance used up.
bool draw_unit(Pair& pair, double share, Draw& draw);
void draw_disturbance(Pair& pair, bool bounce, Draw& draw);
// The scripted noise's own pulses, and which were odd.
TachLine scripted_line(const Pair& pair);

}  // namespace tachproof::study
