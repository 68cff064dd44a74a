// Counts a lamp's changes across one boundary while the engine is held near it.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/dimming.h"
#include "core/judge/settling.h"
#include "core/judge/timeline.h"
#include "core/judge/window_reading.h"

namespace tachproof {

class FlickerCounter {
 public:
  // `wired`: the channels that are seen.
  FlickerCounter(const Gauge& gauge, Channels wired);

  // Changes across `boundary` from `from` on are counted, from nothing. What
  // the lamps did before shows which side they are on.
  void watch(std::size_t boundary, Nanos from);
  void lamps(std::span<const LampEvent> events);  // raw, in time order
  void seen_until(Nanos until);

  std::uint64_t cycles() const { return cycles_; }    // up and, sooner or later, down again
  std::uint64_t changes() const { return changes_; }  // either way
  bool any_lamps() const { return any_; }
  struct Change {
    Nanos at = 0;
    bool up = false;
  };
  const std::vector<Change>& first_changes() const { return first_; }  // at most `kept`
  static constexpr std::size_t kept = 1000;
  // The wired lamps show the same on both sides of this boundary, or differ
  // only by a blink, whose dark phase would count.
  bool is_blind(std::size_t boundary) const;

 private:
  void take();

  WindowReading reading_;
  DimmingFilter dimming_;
  Settling settling_;
  std::vector<LampEvent> undimmed_, shown_;
  Channels wired_;
  std::size_t boundary_ = 1;
  Nanos from_ = 0;
  std::size_t window_ = 0;
  bool any_ = false;
  std::uint64_t cycles_ = 0;
  std::uint64_t changes_ = 0;
  std::vector<Change> first_;
};

}  // namespace tachproof
