// What a unit has made of a press, read off two judges' words on what followed.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/judge/result.h"
#include "core/judge/unit_state.h"

namespace tachproof {

// At which rpm a take was done, by boundaries that all lie equally far from where it should have put them.
struct DoneAt {
  double rpm = 0, expanded_uncertainty_rpm = 0;
};

// What was seen between one event and the next, of one press among those before.
struct StateSeen {
  const RunResult* as_seen = nullptr;  // judged against the state that the unit is in
  const RunResult* otherwise =
      nullptr;                   // against one that another answer to the press leaves; null: there is none
  bool did_otherwise = false;    // the unit is in one of those
  std::string boundary = {};     // that the button takes the rpm for
  std::string other_end = {};    // did_otherwise: and this is the one that it took it for
  const DoneAt* done = nullptr;  // the take went there, and `as_seen` is judged accordingly
  bool sound_before = true;      // nothing was wrong until the press
};

// Where boundaries were, less where they should be: the mean, weighted.
struct Shift {
  double rpm = 0, expanded_uncertainty = 0;
  int rows = 0;       // that were measured
  bool agree = true;  // all moved alike
};
Shift shift_of(const RunResult& result, const Gauge& gauge, const std::vector<std::size_t>& boundaries);
Shift shift_of_all(const RunResult& result, const Gauge& gauge);

// A change of window failed.
bool moves_wrongly(const RunResult& result);
// Fails, and by lamps: what the bench could not see is not held against the unit.
bool unit_fails(const RunResult& result);
// A boundary of these was measured in this state, either way.
bool measured_any(const RunResult& result, const Gauge& gauge, const std::vector<std::size_t>& boundaries);
// How far the measured ones of these boundaries are from where `gauge` has them, at most; infinite where none
// is.
double furthest_off(const RunResult& result, const Gauge& gauge, const std::vector<std::size_t>& boundaries);

std::optional<DoneAt> done_elsewhere(const RunResult& result, const Gauge& gauge,
                                     const std::vector<std::size_t>& moved, double set_rpm);

// The row of a take, and what it adds to the findings. `row` has button, at, rpm and must_refuse; `gauge` is
// the state's that the unit is in.
void judge_take(const Gauge& gauge, const std::vector<std::size_t>& moved, const StateSeen& seen,
                PressResult& row, std::vector<Finding>& findings);

// The level of the dimming button that the lamps show, where another is set and one alone is near enough.
std::optional<std::size_t> level_shown(const Dim& dim, const DimResult& row);

// One step of a dimming button: by how much of the time the lamps were lit. `lit`: channels that were lit
// without a break for a while. `dims_visibly`: elsewhere in this run a lamp was seen dimmed.
void judge_dim(const Gauge& gauge, const RunResult& result, Channels lit, bool dims_visibly, Nanos resolution,
               DimResult& row, std::vector<Finding>& findings);

}  // namespace tachproof
