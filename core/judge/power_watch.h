// How a unit went out when its supply was cut, and how it woke.
#pragma once

#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/result.h"
#include "core/judge/timeline.h"

namespace tachproof {

class PowerWatch {
 public:
  // `resolution`: of the watcher's stamps.
  PowerWatch(const Gauge& gauge, Channels wired, Nanos off_at, Nanos on_at, Nanos resolution);

  // When the rpm's own cue must be there again, whatever the unit did within what is allowed.
  static Nanos awake_by(const Gauge& gauge, Nanos on_at);

  void lamps(const LampEvent& event);  // in time order, the first says what was lit when the supply was cut
  // `until`: the lamps were seen so far. `dark_cue`: at the present rpm the unit shows nothing, so that
  // without a greeting nobody sees it wake.
  PowerResult finish(Nanos until, bool dark_cue, std::vector<Finding>& findings) const;

 private:
  struct Picture {
    Nanos from = 0, to = 0;
    Channels lit = 0;
  };
  std::vector<Picture> pictures(Nanos until) const;
  void say_lit(const std::vector<Picture>& all, PowerResult& row, std::vector<Finding>& findings) const;
  void say_woken(const std::vector<Picture>& all, bool dark_cue, PowerResult& row,
                 std::vector<Finding>& findings) const;
  void say_greeted(const std::vector<Picture>& all, Nanos woke, PowerResult& row,
                   std::vector<Finding>& findings) const;

  const Gauge gauge_;
  const PowerUp power_up_;
  const Channels wired_;
  const Nanos off_at_, on_at_, resolution_;
  std::vector<LampEvent> events_;
};

}  // namespace tachproof
