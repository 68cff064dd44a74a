#include "bench/rigs/factory.h"

#include <algorithm>

#include "bench/rigs/board.h"
#include "bench/rigs/ports.h"
#include "bench/rigs/simulated_rig.h"

namespace tachproof {

namespace {

[[noreturn]] void refuse(const std::string& file, int line, int column, std::string message) {
  throw FileErrors({{file, line, column, std::move(message)}});
}

// What the board's outputs perform, press-1 and press-2.
std::vector<std::string> actions_of(const RigFile::SourcePart& board) {
  std::vector<std::string> actions = BoardSettings().actions;
  if (!board.buttons.empty()) actions = {"", ""};
  for (const auto& [action, output] : board.buttons) actions[output == "press-2"] = action;
  return actions;
}

Rig rig_with_board(const RigFile& rig, const Gauge& gauge) {
  const Wiring& wiring = rig.watch.wiring.value();
  BoardSettings settings;
  settings.wires = resolve(wiring, gauge);
  settings.active_high = wiring.active_high;
  settings.port = rig.source.port.empty() ? only_port_present() : rig.source.port;
  if (rig.source.clock) settings.clock = *rig.source.clock;
  settings.actions = actions_of(rig.source);
  return board_rig(settings);
}

// What a person who wrote this pair may have wanted.
std::string mixed_kinds(const std::string& source, const std::string& watch) {
  if (source == "board")
    return "a '" + watch +
           "' watch beside a 'board' source: the board plays to a real unit, and only the board's own inputs "
           "see what that does; watch must be {kind: board, wiring: ...}";
  return "a 'board' watch beside a '" + source +
         "' source: the board stamps lamps by the clock of its own run, so that it must play the pulses too; "
         "source must be {kind: board}";
}

void refuse_mixed_kinds(const RigFile& rig, const std::string& file) {
  if (rig.source.kind != rig.watch.kind)
    refuse(file, rig.watch.line, rig.watch.column, mixed_kinds(rig.source.kind, rig.watch.kind));
}

Rig rig_with_simulated_unit(const RigFile& rig, const Gauge& gauge, std::uint64_t seed) {
  return simulated_rig(rig.watch.unit.value_or(gauge), rig.watch.behaviour, gauge, seed);
}

}  // namespace

Rig make_rig(const RigFile& rig, const std::string& file, const Gauge& gauge, std::uint64_t seed) {
  refuse_mixed_kinds(rig, file);
  try {
    return rig.source.kind == "board" ? rig_with_board(rig, gauge)
                                      : rig_with_simulated_unit(rig, gauge, seed);
  } catch (const std::invalid_argument& e) {
    refuse(file, rig.watch.line, rig.watch.column, e.what());
  }
}

Channels watched_by(const RigFile& rig, const std::string& file, const Gauge& gauge) {
  refuse_mixed_kinds(rig, file);
  if (rig.source.kind != "board") {
    try {
      return rig_with_simulated_unit(rig, gauge, 0).watcher->facts().wired;
    } catch (const std::invalid_argument& e) {
      refuse(file, rig.watch.line, rig.watch.column, e.what());
    }
  }
  Channels watched = 0;
  for (const ResolvedWire& wire : resolve(rig.watch.wiring.value(), gauge)) watched |= wire.lights;
  return watched;
}

bool can_press(const RigFile& rig, const std::string& action) {
  if (rig.source.kind != "board") return true;
  const std::vector<std::string> actions = actions_of(rig.source);
  return std::find(actions.begin(), actions.end(), action) != actions.end();
}

}  // namespace tachproof
