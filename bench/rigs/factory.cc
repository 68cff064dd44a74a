#include "bench/rigs/factory.h"

#include "bench/rigs/board.h"
#include "bench/rigs/gpio_watcher.h"
#include "bench/rigs/ports.h"
#include "bench/rigs/scpi_source.h"
#include "bench/rigs/simulated_rig.h"

namespace tachproof {

namespace {

[[noreturn]] void refuse(const std::string& file, int line, int column, std::string message) {
  throw FileErrors({{file, line, column, std::move(message)}});
}

Rig rig_with_board(const RigFile& rig, const Gauge& gauge) {
  const Wiring& wiring = rig.watch.wiring.value();
  BoardSettings settings;
  settings.wires = resolve(wiring, gauge);
  settings.active_high = wiring.active_high;
  settings.port = rig.source.port.empty() ? only_port_present() : rig.source.port;
  if (rig.source.clock) settings.clock = *rig.source.clock;
  if (!rig.source.buttons.empty()) settings.actions = {"", ""};
  for (const auto& [action, output] : rig.source.buttons) settings.actions[output == "press-2"] = action;
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
  if (!watcher)
    watcher = simulated_watcher(source->wire(), rig.watch.unit.value(), rig.watch.behaviour, gauge, seed);
  return paced_by(std::move(source), std::move(watcher));
}

// What a person who wrote this pair may have wanted.
std::string mixed_kinds(const std::string& source, const std::string& watch) {
  if (source == "scpi" || watch == "gpio")
    return "a '" + watch + "' watch beside a '" + source +
           "' source; a signal generator (scpi) is watched by gpio, or plays to a simulated unit";
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
  const bool goes = source.kind == "scpi" ? watch.kind != "board" : source.kind == watch.kind;
  if (!goes) refuse(file, watch.line, watch.column, mixed_kinds(source.kind, watch.kind));
  try {
    if (source.kind == "board") return rig_with_board(rig, gauge);
    if (source.kind == "scpi") return rig_with_generator(rig, gauge, seed);
    return simulated_rig(watch.unit.value(), watch.behaviour, gauge, seed);
  } catch (const std::invalid_argument& e) {
    refuse(file, watch.line, watch.column, e.what());
  }
}

}  // namespace tachproof
