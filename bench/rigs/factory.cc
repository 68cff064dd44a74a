#include "bench/rigs/factory.h"

#include <algorithm>

#include "bench/files/regions.h"
#include "bench/rigs/board/board.h"
#include "bench/rigs/camera/camera.h"
#include "bench/rigs/gpio/gpio_watcher.h"
#include "bench/rigs/ports.h"
#include "bench/rigs/scpi/scpi_source.h"
#include "bench/rigs/simulated/simulated_rig.h"

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
  BoardSettings settings;
  if (const std::optional<Wiring>& wiring = rig.watch.wiring) {
    settings.wires = resolve(*wiring, gauge);
    settings.active_high = wiring->active_high;
  }
  settings.port = rig.source.port.empty() ? only_port_present() : rig.source.port;
  if (rig.source.clock) settings.clock = *rig.source.clock;
  settings.actions = actions_of(rig.source);
  return board_rig(settings);
}

GpioSettings gpio_settings(const RigFile::WatchPart& watch, const Gauge& gauge) {
  static const std::map<std::string, GpioBias> biases{{"as-is", GpioBias::as_is},
                                                      {"off", GpioBias::off},
                                                      {"pull-up", GpioBias::pull_up},
                                                      {"pull-down", GpioBias::pull_down}};
  return {watch.chip, biases.at(watch.bias), watch.wiring->active_high, resolve(*watch.wiring, gauge)};
}

Rig rig_with_generator(const RigFile& rig, const Gauge& gauge, std::uint64_t seed) {
  const ScpiSetting& setting = rig.source.scpi.value();
  const std::shared_ptr<CommandClock> clock = monotonic_clock();
  const InstrumentAddress address{setting.address, setting.baud};
  const auto zero = std::make_shared<std::optional<Nanos>>();
  // The lines are taken before the generator is touched.
  std::unique_ptr<Watcher> watcher;
  if (rig.watch.kind == "gpio")
    watcher = std::make_unique<GpioWatcher>(gpio_settings(rig.watch, gauge), zero, clock, linux_gpio());
  auto generator =
      std::make_unique<Instrument>(setting, clock, [address] { return open_instrument(address); });
  auto source =
      std::make_unique<ScpiSource>(setting, gauge.pulses_per_rev, clock, std::move(generator), zero);
  if (rig.watch.kind == "camera")
    watcher =
        camera_by_host_clock(rig.watch.camera, gauge, zero, [at = source.get()] { return at->attend(); });
  if (!watcher)
    watcher =
        simulated_watcher(source->wire(), rig.watch.unit.value_or(gauge), rig.watch.behaviour, gauge, seed);
  return paced_by(std::move(source), std::move(watcher));
}

// A clip has been played already; a device watches what a board plays.
Rig rig_with_camera(const RigFile& rig, const std::string& file, const Gauge& gauge, std::uint64_t seed) {
  const CameraSettings& camera = rig.watch.camera;
  if (camera.live != (rig.source.kind != "simulated"))
    refuse(file, rig.watch.line, rig.watch.column,
           camera.live
               ? "a camera's device beside a '" + rig.source.kind +
                     "' source: nothing would play to the unit; source must be {kind: board} or {kind: scpi}"
               : "a camera's clip beside a '" + rig.source.kind +
                     "' source: what it shows was played before; source must be {kind: simulated}");
  if (rig.source.kind == "scpi") return rig_with_generator(rig, gauge, seed);
  return camera_rig(camera, gauge, camera.live ? rig_with_board(rig, gauge).source : nullptr);
}

// What a person who wrote this pair may have wanted.
std::string mixed_kinds(const std::string& source, const std::string& watch) {
  if (source == "scpi" || watch == "gpio")
    return "a '" + watch + "' watch beside a '" + source +
           "' source; a signal generator (scpi) is watched by gpio or a camera, or plays to a simulated unit";
  if (source == "board")
    return "a '" + watch +
           "' watch beside a 'board' source: the board plays to a real unit, and only the board's own inputs "
           "see what it does; watch must be {kind: board, wiring: ...}";
  return "a 'board' watch beside a '" + source +
         "' source: the board stamps lamps by the clock of its own run, so it must play the pulses too; "
         "source must be {kind: board}";
}

}  // namespace

void refuse_mixed_kinds(const RigFile& rig, const std::string& file) {
  const bool goes = rig.watch.kind == "camera"  ? true
                    : rig.source.kind == "scpi" ? rig.watch.kind != "board"
                                                : rig.source.kind == rig.watch.kind;
  if (!goes) refuse(file, rig.watch.line, rig.watch.column, mixed_kinds(rig.source.kind, rig.watch.kind));
}

namespace {

Rig rig_with_simulated_unit(const RigFile& rig, const Gauge& gauge, std::uint64_t seed) {
  return simulated_rig(rig.watch.unit.value_or(gauge), rig.watch.behaviour, gauge, seed);
}

}  // namespace

Rig make_rig(const RigFile& rig, const std::string& file, const Gauge& gauge, std::uint64_t seed) {
  refuse_mixed_kinds(rig, file);
  if (rig.watch.kind == "camera") return rig_with_camera(rig, file, gauge, seed);
  try {
    if (rig.source.kind == "board") return rig_with_board(rig, gauge);
    if (rig.source.kind == "scpi") return rig_with_generator(rig, gauge, seed);
    return rig_with_simulated_unit(rig, gauge, seed);
  } catch (const std::invalid_argument& e) {
    refuse(file, rig.watch.line, rig.watch.column, e.what());
  }
}

Channels watched_by(const RigFile& rig, const std::string& file, const Gauge& gauge) {
  refuse_mixed_kinds(rig, file);
  if (rig.watch.kind == "simulated") {
    try {
      return rig_with_simulated_unit(rig, gauge, 0).watcher->facts().wired;
    } catch (const std::invalid_argument& e) {
      refuse(file, rig.watch.line, rig.watch.column, e.what());
    }
  }
  Channels watched = 0;
  if (rig.watch.kind == "camera") {
    for (const std::vector<Channels>& lamp : resolve(load_regions(rig.watch.camera.regions), gauge))
      for (const Channels channel : lamp) watched |= channel;
    return watched;
  }
  for (const ResolvedWire& wire : resolve(rig.watch.wiring.value(), gauge)) watched |= wire.lights;
  return watched;
}

std::optional<std::string> cannot_play(const RigFile& rig, const PlayRequest& request) {
  return rig.source.kind == "scpi" ? no_even_wave(request) : std::nullopt;
}

bool can_press(const RigFile& rig, const std::string& action) {
  if (rig.source.kind == "scpi") return false;
  if (rig.source.kind != "board") return true;
  const std::vector<std::string> actions = actions_of(rig.source);
  return std::find(actions.begin(), actions.end(), action) != actions.end();
}

}  // namespace tachproof
