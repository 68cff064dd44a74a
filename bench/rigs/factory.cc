#include "bench/rigs/factory.h"

#include "bench/rigs/board.h"
#include "bench/rigs/serial_port.h"
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
  return board_rig(settings);
}

}  // namespace

Rig make_rig(const RigFile& rig, const std::string& file, const Gauge& gauge, std::uint64_t seed) {
  const RigFile::SourcePart& source = rig.source;
  const RigFile::WatchPart& watch = rig.watch;
  if (source.kind != watch.kind)
    refuse(file, watch.line, watch.column,
           "watch kind '" + watch.kind + "' beside source kind '" + source.kind + "'; both must be the same");
  try {
    if (source.kind == "board") return rig_with_board(rig, gauge);
    return simulated_rig(watch.unit.value(), watch.behaviour, gauge, seed);
  } catch (const std::invalid_argument& e) {
    refuse(file, watch.line, watch.column, e.what());
  }
}

}  // namespace tachproof
