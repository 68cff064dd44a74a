// Units drawn at random and surveyed: does the stated uncertainty hold?
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>

#include "bench/files/files.h"
#include "bench/rigs/rig.h"
#include "core/gauge/gauge.h"
#include "core/judge/result.h"

namespace tachproof {

// A ladder with every boundary that blinking alone tells: steady to blinking at
// 3300 rpm, blinking to dark at 3900, dark to blinking at 5200, blinking to
// steady at 5600.
Gauge flashing_ladder(double hz = 5, double duty = 0.5);

// A unit whose truth is known.
struct RandomUnit {
  Gauge runs;  // what it really runs; should run: drumlin::gauge()
  Behaviour behaviour;
  // The steady rpm at which it really changes: its setting, and what its
  // rounding makes of that.
  double changes_at(std::size_t boundary, Direction direction) const;
};
struct UnitDraw {
  std::optional<double> noise_rpm = {};  // of every reading, in place of one that is drawn
  // Every boundary is off by up to so much, the deadband by 0.4 times that; where it is less than 5,
  // one boundary of every other unit is off by 2 to 8 rpm more.
  double off_rpm = 5;
};
RandomUnit random_unit(std::uint64_t number, const UnitDraw& draw = {});

struct HonestyCount {
  std::uint64_t units = 0, undecided = 0;
  std::uint64_t intervals = 0, inside = 0;            // stated 95 % intervals, those that hold the truth
  std::uint64_t within = 0;                           // intervals as narrow as was wanted
  std::uint64_t outside_rows = 0, false_passes = 0;   // thresholds outside tolerance; that passed
  std::uint64_t units_outside = 0, units_passed = 0;  // units with one such; that passed as a whole
  std::uint64_t false_fails = 0, good_rows = 0;
  double bench_s = 0, longest_s = 0;  // all together; of one unit
  double sum_u_rpm = 0;

  void add(const HonestyCount& more);
};
// Calls `survey` with a rig that has the unit on it.
using WithRig = std::function<void(const RandomUnit& unit, std::uint64_t number,
                                   const std::function<void(Rig&)>& survey)>;
void with_simulated_rig(const RandomUnit& unit, std::uint64_t number,
                        const std::function<void(Rig&)>& survey);
HonestyCount survey_random_units(std::uint64_t first, std::uint64_t count, double within_rpm = 1,
                                 const WithRig& with_rig = with_simulated_rig, const UnitDraw& draw = {});
// The same, on all processors.
HonestyCount survey_many_units(std::uint64_t first, std::uint64_t count, double within_rpm,
                               const WithRig& with_rig, const UnitDraw& draw = {});

// Exact two-sided limits of a proportion (C. J. Clopper, E. S. Pearson,
// Biometrika 26 (1934) 404).
struct Limits {
  double low = 0, high = 1;
};
Limits clopper_pearson(std::uint64_t hits, std::uint64_t of, double coverage = 0.95);

}  // namespace tachproof
