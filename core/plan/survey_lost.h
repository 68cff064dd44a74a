// Is this the unit that the settings are of? Asked of a survey once it has passed
// every boundary quickly, when the lamps did not change at all of them.
//
// What they showed is laid beside what the settings demand, and beside what they
// would demand if one thing were wrong: the pulses per revolution, a lamp that is
// never lit, two wires in each other's place. Only instants count at which the
// rpm had been inside one window, by more than the tolerance, for as long as the
// unit may take.
#pragma once

#include <optional>
#include <string>

#include "core/gauge/gauge.h"
#include "core/plan/survey_view.h"

namespace tachproof {

struct LostUnit {
  enum class Why { pulses_per_rev, dark_lamp, swapped_wires };
  Why why = Why::pulses_per_rev;
  std::string sentence;  // "the lamps show what ... would", without a full stop
};

struct Likeness {
  double as_set = 1;            // share of what could be told that was as the settings demand
  std::optional<LostUnit> why;  // nothing where the settings explain it, or none of the three does
};
Likeness likeness_of(const Gauge& gauge, Channels wired, const SurveyView& view);

}  // namespace tachproof
