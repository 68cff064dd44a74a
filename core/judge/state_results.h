// From the judges of a unit's states to one result.
#pragma once

#include <algorithm>
#include <array>
#include <deque>
#include <limits>
#include <optional>
#include <vector>

#include "core/judge/dim_light.h"
#include "core/judge/gap_watch.h"
#include "core/judge/judge.h"
#include "core/judge/power_watch.h"
#include "core/judge/press_rows.h"
#include "core/judge/supply_watch.h"
#include "core/judge/unit_ways.h"

namespace tachproof {

// Light that was seen in a spell: what comes before the unit has answered is of the state before, or neither.
class SpellLights {
 public:
  // `judged_from`: from then on it is of this state; StateSpell::never while that is not known.
  void add(const SeenLight& light, Nanos judged_from);
  const LightSums& sums(Nanos judged_from);
  bool any() const { return !waiting_.empty() || !sums_.empty(); }

 private:
  std::vector<SeenLight> waiting_;
  LightSums sums_;
};

// From one press or loss of power to the next.
struct StateSpell {
  static constexpr Nanos never = std::numeric_limits<Nanos>::max();
  static constexpr Nanos warm_up = 40 * ns_per_ms;  // dimmed lamps are known by two of their cycles

  enum class What { start, take, dim, power, supply } what = What::start;  // what it begins with
  PressResult press = {};
  DimResult dim = {};
  RpmAtPress rpm = {};                  // when it began
  std::vector<std::size_t> moved = {};  // boundaries that tell one state from the other
  // It must have answered by `answered`; judged from then on, where the signal was not disturbed.
  Nanos awake = 0;  // by then, after a loss of power
  Nanos from = 0, answered = never, judged_from = 0, to = never;

  // Lamps are taken in a little before they are judged, but in the first state.
  Nanos lamps_from() const { return std::max<Nanos>(judged_from - warm_up, 0); }

  // Rpm from some time before it; then what came before its lamps did, and all that it is judged again by.
  std::vector<Segment> before = {}, segments = {};
  std::vector<LampEvent> lamps = {};  // the same
  std::optional<DoneAt> done = {};    // where a take went that went elsewhere; by how much power moved all
  std::vector<UnitState> states_before = {};
  std::optional<GapWatch> gap = {};
  std::optional<Finding> strange = {};  // in the gap
  std::vector<JudgedWay> ways = {};     // what the unit may be doing, as far as it was known when it began
  std::size_t chosen = 0;               // what it did, as far as was seen in it
  bool lamps_begun = false, gap_begun = false, ended = false;
  bool seen = false;  // it lasted long enough for the unit to answer
  // In this state: lit at the last event, since when, and for long without a break at any time.
  Channels lit_before = 0, lit_now = 0, lit_long = 0;
  std::array<Nanos, max_channels> lit_since = {};
  SpellLights lights = {};

  std::optional<PowerWatch> power = {};
  bool dark_cue = false;     // the unit wakes where it shows nothing
  bool cut_doubted = false;  // nobody can say that it lost its supply
  PowerResult woke = {};
  std::vector<Finding> power_findings = {};

  std::optional<SupplyWatch> fed = {};        // it begins with another voltage
  double fed_v = not_measured;                // in it, as far as anybody said
  std::string level = {};                     // the same in words, of this time
  std::vector<PowerResult> supply_rows = {};  // what came of it
  std::string doubt = {};                     // why nobody can say what the unit makes of the event

  JudgedWay& way() { return ways[chosen]; }
  const JudgedWay& way() const { return ways[chosen]; }
};

// By the dimming button's level of the unit; 1 where it has none.
double level_set(const Gauge& gauge, const StateSpell& spell);

// The row of a dimming button's step, spell `index`: by how long lamps were lit in each cycle, or by their
// light where that is what the watcher saw. `dims_visibly`: as for judge_dim.
void judge_step(const Gauge& gauge, const JudgeSetup& setup, std::deque<StateSpell>& spells,
                std::size_t index, bool dims_visibly, DimResult& row, std::vector<Finding>& findings);

RunResult joined_results(const Gauge& gauge, const JudgeSetup& setup, std::deque<StateSpell>& spells,
                         Nanos until, bool complete);

}  // namespace tachproof
