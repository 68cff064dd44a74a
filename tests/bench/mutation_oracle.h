// Is a unit inside its tolerances, or is it outside and could the driver see it?
// Told from the settings of the two; neither the judge nor the simulation is asked.
//
// *Still picture.* From rest to the top and back, the rpm at which the unit shows
// which cue follows from its thresholds: as set, moved by its faults, rounded as it
// rounds, scaled by its pulses per revolution. Its cues are those of its
// settings, stuck lamps put in.
//   inside:  at every rpm it shows a cue that the gauge has within 0.95 T of there
//   outside: over a stretch of more than 0.05 T + u it shows what no cue that the
//            gauge has within T can show, not even for the instant of a blink; or
//            where the profile rests it shows another cue than the gauge does
//   u is what the unit's own update interval and timer make of a threshold at the
//   slowest rate. A boundary between two equal cues is therefore none, and one between
//   cues that differ by blinking is seen only where the profile rests.
// *Reading.* Outside when the least delay of the lamps is above the longest response by
//   5 %, or the reading's noise makes at least 12 changes outside T likely on the slow
//   passes. Inside when the longest delay is within the responses that are allowed
//   and no noise or timer tick can reach a limit, or cross a deadband both ways.
// *Blink.* Rate and duty where the profile rests in a blinking window and the unit
//   blinks there: inside up to 0.95 of their tolerances, outside from 1.05 on.
// *Spells* (acceptance only, as a survey's profile is not known before). A freeze is
//   outside when it keeps one window's cue through a rest in another that it cannot
//   belong to; a supply dip when the rest should be lit and the dip lasts for
//   four times the settling time; a loose lamp when it goes dark at least 15 times (expected)
//   while it should be lit in a rest.
//
// All that is neither is `between`: it counts for nothing.
#pragma once

#include <string>

#include "tests/bench/mutation.h"

namespace tachproof {

enum class Truth { inside, outside, between };

struct Told {
  Truth truth = Truth::inside;
  std::string why;  // not inside
};

Told truth_of(const MutationPair& pair);

// The `u` above.
double unit_uncertainty_rpm(const MutationPair& pair);
// From the signal's change to the lamps', faults left out.
double longest_delay_ms(const MutationPair& pair);

}  // namespace tachproof
