#include "bench/rigs/kinds.h"

#include <stdexcept>

namespace tachproof {
namespace {

[[noreturn]] void never_asked(const WatchFormat& kind) {
  throw std::logic_error("a watcher of kind '" + kind.word() +
                         "' was made beside a source it does not go with");
}

}  // namespace

void refuse_watch(const RigPlan& plan, const std::string& why) {
  throw FileErrors({{plan.file, plan.rig.watch.line, plan.rig.watch.column, why}});
}

std::optional<std::string> SourceKind::cannot_play(const PlayRequest&) const { return std::nullopt; }

std::string SourceKind::how_to_press(const std::string& action) const {
  return "say which output does, as in `buttons: {" + action + ": press-1}` in its source";
}

bool SourceKind::can_power(const RigFile::SourcePart&) const { return false; }
bool SourceKind::can_supply(const RigFile::SourcePart&) const { return false; }

std::optional<std::string> SupplyKind::refuses(const RigFile::SupplyPart&, const Gauge&, double) const {
  return std::nullopt;
}
Rig SupplyKind::fed(const RigPlan&, Rig rig, SourceClock) const { return rig; }

SourceTiming SourceKind::states(const RigFile::SourcePart&, double) const { return {}; }

Channels WatchKind::watched(const RigPlan& plan) const {
  Channels watched = 0;
  for (const ResolvedWire& wire : resolve(plan.rig.watch.wiring.value(), plan.gauge)) watched |= wire.lights;
  return watched;
}

Rig WatchKind::beside_own_clock(const RigPlan&, const OpenOwnRig&) const { never_asked(*this); }
std::unique_ptr<Watcher> WatchKind::by_host_clock(const RigPlan&, const HostBench&) const {
  never_asked(*this);
}
Rig WatchKind::in_virtual_time(const RigPlan&) const { never_asked(*this); }

WatcherTiming WatchKind::states(const RigFile&, SourceClock, const WatcherTiming& stated) const {
  WatcherTiming due = stated;
  due.time_by = TimeRelation::one_clock;
  due.stamp_offset = 0;
  return due;
}

std::string WatchKind::place(const RigFile&) const { return "the " + word(); }

}  // namespace tachproof
