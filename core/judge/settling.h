// Lamps of one change need not move together. Joins moves that belong to one
// change and passes everything else on.
//
// A run of moves that ends, within `settle`, in a picture that then stands at
// least as long is one change, dated by its last move. Moves that lead back to
// the picture from before are no change of window: they are passed on one by
// one, so that a flicker stays visible. So are runs that do not settle in time.
#pragma once

#include <functional>
#include <span>
#include <utility>
#include <vector>

#include "core/judge/timeline.h"

namespace tachproof {

class Settling {
 public:
  explicit Settling(Nanos settle) : settle_(settle) {}

  // A flash this short is electrical, not a lamp that anyone could see.
  static constexpr Nanos invisible = 100 * ns_per_us;

  void add(const LampEvent& event, std::vector<LampEvent>& out);
  void seen_until(Nanos until, std::vector<LampEvent>& out);
  void finish(std::vector<LampEvent>& out);
  // Nothing before this is held back.
  Nanos settled_until(Nanos seen_until) const;

 private:
  void close(std::vector<LampEvent>& out);

  Nanos settle_;
  bool begun_ = false;
  Channels standing_ = 0;       // the last picture passed on
  std::vector<LampEvent> run_;  // moves since then
};

// A watcher of frames dates each lamp's change within its resolution only: where
// two changes come close upon each other, lamps of the one and of the other may
// seem to make a picture that never was. A picture that no window has, and gone
// within `resolution`, is passed over, unless the lamps are then as they were
// before: a flicker stays visible.
class Blends {
 public:
  using IsCue = std::function<bool(Channels)>;
  Blends(Nanos resolution, IsCue is_cue) : resolution_(resolution), is_cue_(std::move(is_cue)) {}

  // A watcher this fine shows what was there.
  static constexpr Nanos coarse = ns_per_ms;

  void add(const LampEvent& event, std::vector<LampEvent>& out);
  void seen_until(Nanos until, std::vector<LampEvent>& out);
  void finish(std::vector<LampEvent>& out);
  Nanos settled_until(Nanos seen_until) const;  // nothing before this is held back

 private:
  Nanos resolution_;
  IsCue is_cue_;
  Channels standing_ = 0;
  std::vector<LampEvent> doubtful_;
};

}  // namespace tachproof
