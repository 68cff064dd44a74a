#include "bench/rigs/factory.h"

#include "bench/rigs/simulated_rig.h"

namespace tachproof {

namespace {

[[noreturn]] void refuse(const std::string& file, int line, int column, std::string message) {
  throw FileErrors({{file, line, column, std::move(message)}});
}

}  // namespace

Rig make_rig(const RigFile& rig, const std::string& file, const Gauge& gauge, std::uint64_t seed) {
  const RigFile::SourcePart& source = rig.source;
  const RigFile::WatchPart& watch = rig.watch;
  if (source.kind != "simulated")
    refuse(file, source.line, source.column, "source kind '" + source.kind + "'; this version has simulated");
  if (watch.kind != "simulated")
    refuse(file, watch.line, watch.column, "watch kind '" + watch.kind + "'; this version has simulated");
  try {
    return simulated_rig(watch.unit.value(), watch.behaviour, gauge, seed);
  } catch (const std::invalid_argument& e) {
    refuse(file, watch.line, watch.column, e.what());
  }
}

}  // namespace tachproof
