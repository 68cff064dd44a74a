#include "core/judge/pictures.h"

#include <algorithm>

namespace tachproof {

void Pictures::add(std::span<const LampEvent> events) {
  if (events.empty()) return;
  dimming_.add(events, undimmed_);
  settle(std::min(dimming_.settled_until(), events.back().at - 1));
}

void Pictures::seen_until(Nanos until) {
  dimming_.seen_until(until, undimmed_);
  settle(std::min(dimming_.settled_until(), until));
}

void Pictures::finish(Nanos until) {
  seen_until(until);
  dimming_.finish(undimmed_);
  settle(until);
  settling_.finish(settled_);
  blend(until);
  blends_.finish(blended_);
  shown_.insert(shown_.end(), blended_.begin(), blended_.end());
  blended_.clear();
}

void Pictures::settle(Nanos until) {
  for (const LampEvent& event : undimmed_) settling_.add(event, settled_);
  undimmed_.clear();
  settling_.seen_until(until, settled_);
  const Nanos settled = settling_.settled_until(until);
  blend(settled);
  settled_until_ = std::max(settled_until_, blends_.settled_until(settled));
}

void Pictures::blend(Nanos until) {
  for (const LampEvent& event : settled_) blends_.add(event, blended_);
  settled_.clear();
  blends_.seen_until(until, blended_);
  shown_.insert(shown_.end(), blended_.begin(), blended_.end());
  blended_.clear();
}

}  // namespace tachproof
