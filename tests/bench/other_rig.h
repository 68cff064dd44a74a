// A rig whose unit is none of the program's: readings by filters, gates and
// loops that remember what was before, each written from its own formula. It
// hears the pulses that a survey plays, jumps between boundaries included.
#pragma once

#include <cstdint>
#include <string>

#include "bench/rigs/rig.h"
#include "core/gauge/gauge.h"

namespace tachproof {

enum class Physics {
  quick_filter,    // first order, 5 to 20 ms, fed at each pulse; 50 to 200 updates a second
  slow_filter,     // the same of 20 to 60 ms
  slowest_filter,  // the same of 60 to 95 ms: nearly all that is allowed
  gate,            // pulses over 30 to 55 ms, timed by the first and the last, told at its end
  tracking_loop,   // second order, damping 0.7, 4 to 10 Hz
  display_20_hz,   // one period, looked at every 50 ms
  apart,           // one period, lamps 50 ms later one way than the other
  late_lamps,      // one period; each way past each boundary up to 30 ms later than another
  settling,        // the same up to 9 ms: what settling allows
  one_late,        // one period; one way past one boundary 40 ms later than all others
  nimble_filter    // first order, 10 to 60 ms, but follows at once what is more than 40 rpm off
};
inline constexpr Physics all_physics[] = {
    Physics::quick_filter,  Physics::slow_filter,   Physics::slowest_filter, Physics::gate,
    Physics::tracking_loop, Physics::display_20_hz, Physics::apart,          Physics::late_lamps,
    Physics::settling,      Physics::one_late,      Physics::nimble_filter};
std::string name(Physics physics);

// `runs`: the settings that the unit has. It rounds its reading to `resolution_rpm`, 0: not at all. What else
// it is comes from the seed.
Rig other_rig(Physics physics, const Gauge& runs, double resolution_rpm, std::uint64_t seed);

}  // namespace tachproof
