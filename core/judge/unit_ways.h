// What a unit may have made of the presses and losses of power of a run: all ways that its lamps
// have not told apart yet, each judged by a judge of its own.
#pragma once

#include <cstddef>
#include <functional>
#include <optional>
#include <vector>

#include "core/judge/judge.h"
#include "core/judge/unit_state.h"

namespace tachproof {

struct UnitWay {
  StateFollower unit;
  std::vector<std::size_t> otherwise = {};  // events at which it did another thing than it had to

  bool did_otherwise(std::size_t event) const;
};

// As it was judged from one event to the next.
struct JudgedWay : UnitWay {
  std::optional<Judge> judge = {};  // none where nobody can say what the unit does
  std::optional<RunResult> result = {};
};

// Each way, gone on through an event: first as the unit must, then all that it may have done instead.
// Those that no lamp can tell from another any more are left out.
std::vector<UnitWay> through_event(const std::vector<UnitWay>& before, std::size_t event,
                                   const std::function<void(StateFollower&)>& happens);

// The way that fits what was seen, with the fewest wrong doings; where none fits, the first, unless
// the boundaries that `moved` were measured clearly nearer to those of another.
std::size_t likeliest(const std::vector<JudgedWay>& ways, const std::vector<std::size_t>& moved);

// What is still open after that: the likeliest first.
std::vector<UnitWay> still_open(const std::vector<JudgedWay>& ways, std::size_t likeliest);

}  // namespace tachproof
