// The bench's board (bench/firmware) as a source and as a watcher. Both share
// the board: its clock times the edges and stamps the lamps, so that the two
// agree without anybody's help.
//
// A run's instant 0 is the board's instant 0 of the train, which starts as
// soon as there is enough to play, or somebody wants to see; the sync lamp is
// lit from then until the end. The board has to
// be kept ahead of the lamps that are collected: a board that runs out of
// pulses while more are to come is a RigError.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/board/host_clock.h"
#include "bench/rigs/rig.h"

namespace tachproof {

inline constexpr double crystal_ppm = 50;  // what a quartz crystal is good for, from memory

// Of what it plays and stamps.
Nanos board_tick();

struct BoardSettings {
  std::string port;
  // Which input lights which channels; "in0" to "in7". Empty: nothing watched.
  std::vector<ResolvedWire> wires;
  bool active_high = true;
  // The tach pulse; half the interval when that is shorter.
  Nanos pulse = ns_per_ms;
  // The actions that the outputs press-1 and press-2 perform; empty: none.
  std::vector<std::string> actions = {"press-1", "press-2"};
  ClockSetting clock{0, crystal_ppm, ""};
  // Its output for the unit's supply is wired; cut, or given back, so long after the output.
  struct Switch {
    Nanos from = 0, to = 0;
  };
  std::optional<Switch> supply = {};
};

// Opens the port and greets the board. Throws RigError when that fails, and
// std::invalid_argument, a sentence, for a wire that the board does not have.
Rig board_rig(const BoardSettings& settings, std::unique_ptr<HostClock> clock = wall_clock());

}  // namespace tachproof
