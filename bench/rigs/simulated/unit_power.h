// The supply of the simulated unit: what it is fed, when that is too little, and how it wakes again.
//
// A supply that is cut is missed at once: the lamps hang from it. A voltage under the lowest one is ridden
// through for a while by what the unit has stored, and it is off only when that is used up. It wakes when
// it is fed enough again: it boots, greets if it does, and then shows what the rpm asks for.
//
// A unit whose gauge has a power-up was awake before the run begins. Without one, a boot time of its
// behaviour is waited for at the run's start too.
#pragma once

#include <cstdint>
#include <deque>
#include <utility>
#include <vector>

#include "bench/rigs/simulated/counter_random.h"
#include "bench/rigs/simulated/spells.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "core/base/time.h"
#include "core/signal/profile.h"

namespace tachproof {

class UnitPower {
 public:
  enum class State { off, booting, greeting, awake };

  // The settings must outlive it.
  UnitPower(const UnitSettings& settings, std::uint64_t seed);

  // In time order, and not before the last `pass`.
  void cut(Nanos at, Nanos lasts);
  void feed(const Supply& supply, Nanos at);

  State state() const { return state_; }
  // What it is fed; NaN: nobody has said so far.
  double volts_at(Nanos t) const;
  // It measures: buttons wait until it has greeted.
  bool runs() const { return state_ == State::greeting || state_ == State::awake; }
  Nanos next() const;  // the next instant at which something may change
  // That instant. True: the unit has lost its memory.
  bool pass();

 private:
  struct Edge {
    Nanos at;
    bool low;
  };

  void wait_for_edges(Nanos t);
  void wake(Nanos t);
  void boot(Nanos until);
  Nanos boot_time();
  bool greets() const { return settings_.gauge.power_up && settings_.gauge.power_up->greets; }
  bool too_long(Nanos t) const { return low_ && t >= low_since_ + settings_.holds; }

  const UnitSettings& settings_;
  CounterRandom random_;
  std::uint64_t boots_ = 0;
  State state_ = State::awake;
  Nanos until_ = never;  // of booting or greeting

  std::deque<Spell> cuts_;  // still to come
  Nanos cut_until_ = never;
  bool cut_ = false;
  std::deque<Edge> edges_;  // of the voltage, still to come
  bool low_ = false;
  Nanos low_since_ = 0;
  bool stays_off_ = false;
  std::vector<std::pair<Nanos, Supply>> fed_;  // in time order
  std::deque<Reset> resets_;                   // still to come
};

}  // namespace tachproof
