// From the judges of a unit's states to one result.
#pragma once

#include <algorithm>
#include <array>
#include <deque>
#include <limits>
#include <optional>
#include <vector>

#include "core/judge/judge.h"
#include "core/judge/power_watch.h"
#include "core/judge/unit_state.h"

namespace tachproof {

// From one press or loss of power to the next.
struct StateSpell {
  static constexpr Nanos warm_up = 40 * ns_per_ms;  // dimmed lamps are known by two of their cycles

  enum class What { start, take, dim, power } what = What::start;  // what it begins with
  PressResult press = {};
  DimResult dim = {};
  std::vector<std::size_t> moved = {};  // boundaries that tell one state from the other
  UnitState state = {};
  std::optional<UnitState> otherwise = {};
  Nanos from = 0, judged_from = 0, to = std::numeric_limits<Nanos>::max();

  // Lamps are taken in a little before they are judged, but in the first state.
  Nanos lamps_from() const { return std::max<Nanos>(judged_from - warm_up, 0); }

  std::vector<Segment> early = {};              // rpm before it was known when the unit must have answered
  std::optional<Judge> judge = {}, other = {};  // none where nobody can say what the unit does
  bool lamps_begun = false, gap_begun = false, ended = false;
  bool seen = false;  // it lasted long enough for the unit to answer
  // In this state: lit at the last event, since when, and for long without a break at any time.
  Channels lit_now = 0, lit_long = 0;
  std::array<Nanos, max_channels> lit_since = {};
  std::optional<RunResult> result = {}, other_result = {};

  std::optional<PowerWatch> power = {};
  bool dark_cue = false;  // the unit wakes where it shows nothing
  PowerResult woke = {};
  std::vector<Finding> power_findings = {};
};

RunResult joined_results(const Gauge& gauge, const JudgeSetup& setup, std::deque<StateSpell>& spells,
                         Nanos until, bool complete);

}  // namespace tachproof
