// Why a lamp flickers: a deadband that is too narrow for the noise, or chatter
// that the signal really contains and no deadband can be blamed for.
#pragma once

#include <string>
#include <string_view>

#include "core/flicker/flicker.h"

namespace tachproof {

enum class FlickerCause {
  none,            // not enough of it to speak of
  missing_pulses,  // the signal itself lacks or doubles pulses
  firing_pattern,  // the firing pattern, which the unit's averaging does not cancel
  noise,           // jitter and wander of the signal, wider than the deadband
  unit             // more than any of these explain: the unit's own
};
std::string_view word(FlickerCause cause);  // "missing-pulses", ...

struct FlickerReason {
  FlickerCause cause = FlickerCause::none;
  std::string sentence;  // with its numbers
};

// How far a reading swings by the firing pattern alone, highest less lowest, in
// rpm: 0 where whole engine cycles are averaged.
double firing_swing_rpm(const Noise& noise, const UnitReading& unit, double rpm);

// Why a sound unit flickers as predicted: `predicted` without disturbances.
FlickerReason explain_prediction(const Noise& noise, const UnitReading& unit, double pulses_per_rev,
                                 double rpm, const Flicker& predicted, double limit_per_min);

// Why a real unit made `changes` in `minutes`, where a sound one reading the
// same signal makes `predicted`, disturbances not counted: its own flicker only
// if chance does not explain the excess, at 95 % confidence.
FlickerReason explain_seen(const Noise& noise, const UnitReading& unit, double pulses_per_rev, double rpm,
                           const Flicker& predicted, double changes, double minutes, double limit_per_min);

}  // namespace tachproof
