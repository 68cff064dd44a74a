// What every loop that plays a train to a rig keeps to: how far the train is
// handed out ahead of the lamps, and how often a person is shown where it is.
#pragma once

#include <chrono>
#include <thread>

#include "bench/rigs/rig.h"
#include "core/base/time.h"

namespace tachproof {

struct Pace {
  Nanos stretch = 0;  // handed out at once
  Nanos ahead = 0;    // of what has been seen, so that the source never runs dry
};

// In virtual time a stretch only costs its overhead.
inline constexpr Pace virtual_pace{ns_per_s, 0};
inline constexpr Pace real_pace{50 * ns_per_ms, 250 * ns_per_ms};
// Virtual time that is let go as real time does, for who watches: a change shows this late at most.
inline constexpr Pace watched_pace{20 * ns_per_ms, 0};
inline Pace pace_of(const SourceFacts& source, const WatcherFacts& watcher, bool in_real_time = false) {
  if (source.virtual_time) return in_real_time ? watched_pace : virtual_pace;
  return {real_pace.stretch, real_pace.ahead + watcher.behind};
}

// Lets virtual time go no faster than the wall's.
class WallClock {
 public:
  void wait_until(Nanos at) {
    const auto now = std::chrono::steady_clock::now();
    const auto due = begun_ + std::chrono::nanoseconds(at);
    // Behind: a person thought about a question, or this machine was busy. Time goes on from here.
    if (now > due + std::chrono::milliseconds(200)) begun_ = now - std::chrono::nanoseconds(at);
    std::this_thread::sleep_until(begun_ + std::chrono::nanoseconds(at));
  }

 private:
  std::chrono::steady_clock::time_point begun_ = std::chrono::steady_clock::now();
};

// Ten times a second of wall time.
class Glances {
 public:
  bool due() {
    const auto now = std::chrono::steady_clock::now();
    if (now - last_ < std::chrono::milliseconds(100)) return false;
    last_ = now;
    return true;
  }

 private:
  std::chrono::steady_clock::time_point last_;
};

}  // namespace tachproof
