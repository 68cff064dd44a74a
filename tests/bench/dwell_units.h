// Units drawn at random and certified by a dwell: is the verdict wrong no more
// often than its confidence allows?
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "bench/rigs/rig.h"
#include "core/flicker/flicker.h"
#include "core/gauge/gauge.h"
#include "core/judge/result.h"
#include "core/plan/dwell.h"
#include "core/signal/noise.h"
#include "tests/bench/other_rig.h"

namespace tachproof {

// What is asked of a unit.
Dwell asked_dwell();

// Nine boundaries, each with one more lamp lit.
Gauge nine_lamps(double deadband);

// A unit with noise and a deadband of its own that make about `aimed` times the
// limit, 0.3 to 3.3, near 1 more often than far away. Its boundaries are off by up to 2 rpm.
struct DwellUnit {
  std::uint64_t number = 0;
  Gauge asked;  // its deadband is set to the nearest rpm that a unit can be set to
  Gauge runs;
  Noise noise;
  double aimed = 0;
  UnitReading reading;                         // what the dwell is told of it
  std::function<Rig(std::uint64_t seed)> rig;  // has the unit on it
};
// One of the program's own.
DwellUnit dwell_unit(std::uint64_t number);
// From this number on the wander is slow: 1 to 5 s. While it keeps the reading
// near a threshold there are many changes, and then none for a while.
inline constexpr std::uint64_t first_with_bursts = 1'000'000;
// From this number on there are three boundaries, so near to each other that they flicker about alike: what
// was learned at the first ones is used at the others.
inline constexpr std::uint64_t first_with_three = 2'000'000;
// One of another physics, with three boundaries. The dwell takes it for a usual one.
DwellUnit dwell_unit(Physics physics, std::uint64_t number);

// Lamp changes of the unit, held at one mean, near one of its boundaries.
struct LongCount {
  double per_min = 0;
  double dispersion = 0;  // variance by mean of the cycles in stretches of the longest dwell
};
LongCount long_count(const DwellUnit& unit, double mean_rpm, double minutes, std::uint64_t seed);

// One for each of its boundaries.
struct CertifiedUnit {
  double held_rate = 0;   // the long count at the mean that was held, by the limit
  double worst_rate = 0;  // in the middle of its own deadband, likewise
  double off_rpm = 0;     // the mean that was held, from that middle
  double dispersion = 0;
  double held_s = 0;
  Verdict verdict = Verdict::undecided;
};
// In the order of their numbers. `reference_min`: of each long count.
std::vector<CertifiedUnit> certify_units(const std::function<DwellUnit(std::uint64_t number)>& draw,
                                         std::uint64_t first, std::uint64_t count, double reference_min);

// Of the units whose rate, by the limit, is from `from` to under `to`.
struct VerdictCount {
  double from = 0, to = 0;
  std::uint64_t units = 0, passes = 0, fails = 0;
  double held_s = 0, dispersion = 0;  // means
};
VerdictCount count_verdicts(const std::vector<CertifiedUnit>& units, double CertifiedUnit::*rate, double from,
                            double to);

// A table of tests/benchmarks/DWELL.md.
std::string verdict_table(const std::vector<CertifiedUnit>& units, double CertifiedUnit::*rate);

}  // namespace tachproof
