// What a scenario cannot decide, said before it is played.
//
// For every boundary and direction: how often the profile crosses it, the
// uncertainty of its threshold that is to be expected, whether that decides at
// the gauge's tolerance (of a unit that is up to half an rpm off, or a quarter of
// the tolerance), and what to change where it does not. No unit is
// simulated: each demanded crossing gives the visit that an ideal unit would make of it
// in closed form, spread as far as a unit is assumed to scatter that has not been
// seen (one that rounds to 1 rpm and updates every 10 ms), and the fit that judges
// real runs (core/judge/thresholds.h) says how well the threshold is then known. A unit that
// scatters more will be known less well.
//
// A boundary whose sides differ by blinking only shows no instant but an interval:
// until the phase that looks like the old window has passed, the side is not
// known. At rate v that makes v times this phase, or half of what lies between two
// rests.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/expectation.h"
#include "core/judge/judge.h"
#include "core/signal/noise.h"
#include "core/signal/profile.h"

namespace tachproof {

struct ForeseenThreshold {
  std::size_t boundary = 0;
  Direction direction = Direction::rising;
  double nominal_rpm = 0;
  int crossings = 0;                               // demanded ones
  double expected_uncertainty_rpm = not_measured;  // NaN: nothing will measure this threshold
  bool decided = false;
  std::string advice;  // without its full stop; empty where it is decided
};

struct Foresight {
  std::vector<ForeseenThreshold> thresholds;  // of all boundaries, rising then falling
  std::vector<std::size_t> not_visited;       // boundaries that are crossed in neither direction
  // Windows that rest too briefly: a sentence with its numbers and what to do.
  std::vector<std::string> rests;
};

struct ForesightSetup {
  Noise noise;            // scripted
  double within_rpm = 0;  // above 0: the uncertainty that is wanted
  SourceTiming source;    // what it adds of its own; of no account unless it plays in steps
};

// Of a profile that presses the unit's buttons, or cuts its supply, nothing.
Foresight foresee(const Gauge& gauge, const Profile& profile, const ForesightSetup& setup = {});

// "closing rising is not decided: ..."; all that a reader must know beforehand, one
// sentence each.
std::vector<std::string> warnings(const Gauge& gauge, const Foresight& foresight,
                                  const JudgeWhat& asked = {});

}  // namespace tachproof
