// What a unit has made of a press, read off two judges' words on what followed.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/judge/result.h"
#include "core/judge/unit_state.h"

namespace tachproof {

// What was seen in one state of the unit.
struct StateSeen {
  const RunResult* as_set = nullptr;     // judged against the state that the unit must be in
  const RunResult* otherwise = nullptr;  // against the other one; null: there is none
  bool sound_before = true;              // nothing was wrong until the press
};

// A change of window failed.
bool moves_wrongly(const RunResult& result);
// Fails, and by lamps: what the bench could not see is not held against the unit.
bool unit_fails(const RunResult& result);
// A boundary of these was measured in this state, either way.
bool measured_any(const RunResult& result, const Gauge& gauge, const std::vector<std::size_t>& boundaries);

// The row of a take, and what it adds to the findings. `row` has button, at, rpm and must_refuse.
// True: the press explains all that failed in this state.
bool judge_take(const UnitState& state, const std::vector<std::size_t>& moved, const StateSeen& seen,
                double set_rpm, PressResult& row, std::vector<Finding>& findings);

// One step of a dimming button: by how much of the time the lamps were lit. `lit`: channels that were lit
// without a break for a while. `dims_visibly`: elsewhere in this run a lamp was seen dimmed.
void judge_dim(const Gauge& gauge, const RunResult& result, Channels lit, bool dims_visibly, Nanos resolution,
               DimResult& row, std::vector<Finding>& findings);

}  // namespace tachproof
