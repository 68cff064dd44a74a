#include "bench/run/playing.h"

#include <algorithm>

namespace tachproof {

Playing::Playing(Rig& rig, const RunHooks& hooks, FoundByBench found, Saw saw)
    : rig_(rig), hooks_(hooks), found_(std::move(found)), saw_(std::move(saw)), watch_(*rig.watcher) {
  told_by_watcher_ = hooks.lamps && rig.watcher->tell_at_once(hooks.lamps);
}

void Playing::give(std::span<const Nanos> pulses, Nanos until) {
  rig_.source->play({pulses, until});
  played_ = until;
}

void Playing::collect(Nanos until) {
  if (hooks_.in_real_time && rig_.source->facts().virtual_time) wall_.wait_until(until);
  events_.clear();
  seen_ = watch_.collect(until, events_);
  if (hooks_.lamps && !told_by_watcher_)
    for (const LampEvent& event : events_) hooks_.lamps(event);
  if (!events_.empty()) lit_ = events_.back().lit;
  if (seen_.lost > 0) {
    lost_ += seen_.lost;
    found_(FindingKind::lost_evidence, std::min(until, seen_.until), seen_.lost_why);
  }
  collected_ = until;
  saw_(events_, std::min(until, seen_.until), seen_);
}

bool Playing::stop_asked() {
  if (stopped_) return true;
  const std::optional<std::string> why = hooks_.stop ? hooks_.stop() : std::nullopt;
  if (!why) return false;
  stopped_ = true;
  if (begun_)
    stopped_because_ = why;
  else
    found_(FindingKind::bench_fault, seen_.until, *why);
  return true;
}

bool Playing::end() {
  rig_.source->end();
  rig_.watcher->end();
  const SourceEnd end = rig_.source->how_it_ended();
  std::string why = stopped_because_.value_or("");
  if (!end.said.empty() && (stopped_because_ || !end.sound)) why += (why.empty() ? "" : "; ") + end.said;
  if (!why.empty()) found_(FindingKind::bench_fault, seen_.until, std::move(why));
  return end.sound;
}

void Playing::show(double rpm) {
  if (hooks_.progress && glances_.due()) hooks_.progress({collected_, rpm, lit_});
}

}  // namespace tachproof
