// The output side of the simulated unit: switching delay, blink generator,
// dimming, supply and the faults of lamps and wires.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <vector>

#include "bench/rigs/simulated/counter_random.h"
#include "bench/rigs/simulated/spells.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/judge/timeline.h"

namespace tachproof {

// Lit for `duty` of each period. Every edge is computed from its number, so
// that a rate that is no whole number of nanoseconds does not drift.
class SquareWave {
 public:
  SquareWave(double hz, double duty) : period_ns_(1e9 / hz), duty_(duty) {}

  // Runs from `t` on, as if it had begun a period at `origin_ns` (<= t).
  void start(double origin_ns, Nanos t);
  void stop() {
    running_ = false;
    next_ = never;
  }
  bool running() const { return running_; }

  bool lit() const { return lit_; }
  Nanos next() const { return next_; }  // its next edge
  void pass();                          // that edge

 private:
  Nanos edge(double periods) const;

  double period_ns_;
  double duty_;
  double origin_ns_ = 0;
  std::int64_t period_ = 0;
  bool lit_ = true;
  bool running_ = false;
  Nanos next_ = never;
};

class LampDriver {
 public:
  // Events are given in the channels of `as_seen`; a lamp or colour that it
  // does not have is not seen.
  LampDriver(const UnitSettings& settings, const Gauge& as_seen, std::uint64_t seed);

  // The unit has decided on this window; calls come in time order.
  void decide(Nanos at, std::size_t window);
  // Appends the changes up to `until`; nothing will be decided before that.
  void run(Nanos until, std::vector<LampEvent>& out);

 private:
  struct Pending {
    Nanos shows_at;
    std::size_t window;
  };
  struct Flaky {
    Channels channels;
    double mean_gap_ns;
    Nanos lasts;
    CounterRandom random;
    std::uint64_t draws;
    bool dark;
    Nanos next;
    void pass();
  };

  Nanos next_change() const;
  void pass(Nanos t);
  void enter(std::size_t window, Nanos t);
  void show_pattern(Nanos t);
  Channels lit() const;

  std::vector<Cue> cues_;
  Channels stuck_on_, stuck_off_;
  Nanos response_;
  std::deque<Pending> pending_;
  SpellWalk unpowered_;
  SpellWalk frozen_;
  std::vector<Flaky> flaky_;
  std::optional<SquareWave> blink_;
  std::optional<SquareWave> dimmer_;
  double dimmer_origin_ns_ = 0;

  Cue cue_;
  Channels pattern_ = 0;  // before dimming
  std::optional<Channels> shown_;
};

}  // namespace tachproof
