// From what a watcher reports to the pictures that the judge reads: dimming taken out, the
// moves of one change joined, and pictures that only a watcher of few frames sees passed over.
#pragma once

#include <deque>
#include <span>
#include <utility>
#include <vector>

#include "core/judge/dimming.h"
#include "core/judge/settling.h"
#include "core/judge/timeline.h"

namespace tachproof {

class Pictures {
 public:
  // `settle`: lamps of one change may be this far apart. `resolution`: of the watcher's stamps.
  Pictures(Nanos settle, Nanos resolution, Blends::IsCue is_cue)
      : settling_(settle), blends_(resolution, std::move(is_cue)) {}

  void add(std::span<const LampEvent> events);  // in time order
  void seen_until(Nanos until);                 // no event before this is still to come
  void finish(Nanos until);                     // and none at all

  // The next picture, null when there is none yet.
  const LampEvent* next() const { return shown_.empty() ? nullptr : &shown_.front(); }
  void pop() { shown_.pop_front(); }
  // No picture before this is still to come; -1 before anything was seen.
  Nanos settled_until() const { return settled_until_; }
  const DimmingFilter& dimming() const { return dimming_; }

 private:
  void settle(Nanos until);
  void blend(Nanos until);

  DimmingFilter dimming_;
  Settling settling_;
  Blends blends_;
  std::vector<LampEvent> undimmed_, settled_, blended_;
  std::deque<LampEvent> shown_;
  Nanos settled_until_ = -1;
};

}  // namespace tachproof
