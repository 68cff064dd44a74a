#include "bench/rigs/factory.h"

#include "bench/rigs/board.h"
#include "bench/rigs/camera.h"
#include "bench/rigs/ports.h"
#include "bench/rigs/simulated_rig.h"

namespace tachproof {

namespace {

[[noreturn]] void refuse(const std::string& file, int line, int column, std::string message) {
  throw FileErrors({{file, line, column, std::move(message)}});
}

Rig rig_with_board(const RigFile& rig, const Gauge& gauge) {
  BoardSettings settings;
  if (const std::optional<Wiring>& wiring = rig.watch.wiring) {
    settings.wires = resolve(*wiring, gauge);
    settings.active_high = wiring->active_high;
  }
  settings.port = rig.source.port.empty() ? only_port_present() : rig.source.port;
  if (rig.source.clock) settings.clock = *rig.source.clock;
  if (!rig.source.buttons.empty()) settings.actions = {"", ""};
  for (const auto& [action, output] : rig.source.buttons) settings.actions[output == "press-2"] = action;
  return board_rig(settings);
}

// A clip has been played already; a device watches what a board plays.
Rig rig_with_camera(const RigFile& rig, const std::string& file, const Gauge& gauge) {
  const CameraSettings& camera = rig.watch.camera;
  if (camera.live != (rig.source.kind == "board"))
    refuse(file, rig.watch.line, rig.watch.column,
           camera.live ? "a camera's device beside a '" + rig.source.kind +
                             "' source: nothing would play to the unit; source must be {kind: board}"
                       : "a camera's clip beside a '" + rig.source.kind +
                             "' source: what it shows was played before; source must be {kind: simulated}");
  return camera_rig(camera, gauge, camera.live ? rig_with_board(rig, gauge).source : nullptr);
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

}  // namespace

Rig make_rig(const RigFile& rig, const std::string& file, const Gauge& gauge, std::uint64_t seed) {
  const RigFile::SourcePart& source = rig.source;
  const RigFile::WatchPart& watch = rig.watch;
  if (watch.kind == "camera") return rig_with_camera(rig, file, gauge);
  if (source.kind != watch.kind) refuse(file, watch.line, watch.column, mixed_kinds(source.kind, watch.kind));
  try {
    if (source.kind == "board") return rig_with_board(rig, gauge);
    return simulated_rig(watch.unit.value(), watch.behaviour, gauge, seed);
  } catch (const std::invalid_argument& e) {
    refuse(file, watch.line, watch.column, e.what());
  }
}

}  // namespace tachproof
