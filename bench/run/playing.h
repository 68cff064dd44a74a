// What a rig does while something is played on it: blocks of pulses go out, the
// lamps' changes come back, a person may stop it. For run, survey and dwell alike;
// what is played next, and what becomes of the changes, is theirs.
//
// All instants are the rig's.
#pragma once

#include <functional>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "bench/rigs/rig.h"
#include "bench/run/checked_watcher.h"
#include "bench/run/guarded.h"
#include "bench/run/hooks.h"
#include "bench/run/pace.h"

namespace tachproof {

// Where findings of the bench itself go.
using FoundByBench = std::function<void(FindingKind kind, Nanos at, std::string message)>;

class Playing {
 public:
  // What the watcher saw up to `certain`, in time order.
  using Saw = std::function<void(std::span<const LampEvent> events, Nanos certain, const Seen& seen)>;

  Playing(Rig& rig, const RunHooks& hooks, FoundByBench found, Saw saw);

  // Begins source and watcher, does `what`, and ends both whatever happened. False:
  // it was stopped, or it threw, and a finding says why. No exception leaves it.
  template <class What>
  bool play(What what) {
    begun_ = true;
    const bool played = done([&] {
      rig_.source->begin();
      rig_.watcher->begin();
      what();
    });
    return end() && played;
  }
  // The same for a step of its own: closing the evidence.
  template <class What>
  bool done(What what) {
    return guarded(what, [this](FindingKind kind,
                                std::string why) { found_(kind, seen_.until, std::move(why)); }) &&
           !stopped_;
  }

  void give(std::span<const Nanos> pulses, Nanos until);
  void collect(Nanos until);
  // Asks whether to stop; from then on it is true.
  bool stop_asked();
  void show(double rpm);

  Nanos played() const { return played_; }          // the source has been given everything until here,
  Nanos collected() const { return collected_; }    // the watcher has been asked until here,
  Nanos seen_until() const { return seen_.until; }  // and has seen everything until here
  Channels lit() const { return lit_; }
  std::uint64_t lost() const { return lost_; }
  bool stopped() const { return stopped_; }
  void stop() { stopped_ = true; }

 private:
  // False: the source did not end as it should, and a finding says why.
  bool end();

  Rig& rig_;
  const RunHooks& hooks_;
  FoundByBench found_;
  Saw saw_;
  CheckedWatcher watch_;
  std::vector<LampEvent> events_;
  Seen seen_;
  Nanos played_ = 0, collected_ = 0;
  std::uint64_t lost_ = 0;
  Channels lit_ = 0;
  bool begun_ = false, stopped_ = false;
  bool told_by_watcher_ =
      false;  // whoever watches hears of the lamps from the watcher, before they are collected
  std::optional<std::string> stopped_because_;  // said once the source has ended
  Glances glances_;
  WallClock wall_;  // of a rig in virtual time that is watched
};

}  // namespace tachproof
