// How a unit went out when its supply was cut, and how it woke.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/result.h"
#include "core/judge/timeline.h"

namespace tachproof {

// When a supply went off, and when it was back: each somewhere from one instant to another.
struct PowerCut {
  Nanos off_from = 0, off_to = 0;
  Nanos on_from = 0, on_to = 0;
  bool by_hand = false;  // a person says so; nothing else vouches for it

  bool operator==(const PowerCut&) const = default;
};

class PowerWatch {
 public:
  // `at`: it may be cut from then on. `resolution`: of the watcher's stamps.
  PowerWatch(const Gauge& gauge, Channels wired, Nanos at, Nanos resolution);

  void begins_lit(Channels lit) { lit_before_ = lit & wired_; }
  void cut(const PowerCut& cut) { cut_ = cut; }  // nothing: nobody has cut it

  // When the rpm's own cue must be there again, whatever the unit did within what is allowed.
  static Nanos awake_by(const Gauge& gauge, Nanos on_at);

  void lamps(const LampEvent& event);  // in time order, the first says what was lit when the supply was cut
  // `until`: the lamps were seen so far. `dark_cue`: at the present rpm the unit shows nothing, so that
  // without a greeting nobody sees it wake.
  PowerResult finish(Nanos until, bool dark_cue, std::vector<Finding>& findings) const;
  // After finish: why nobody can say that the unit lost its supply, though a person says that he cut it; a
  // clause. Empty: it went out, or a switch of the bench has cut it.
  std::string not_seen_cut(Nanos until) const;

 private:
  struct Picture {
    Nanos from = 0, to = 0;
    Channels lit = 0;
  };
  std::vector<Picture> pictures(Nanos until) const;
  const Picture* lit_while_off(const std::vector<Picture>& all) const;
  bool was_seen_out(const std::vector<Picture>& all) const;
  std::vector<Picture>::const_iterator woke_in(const std::vector<Picture>& all) const;
  void say_lit(const std::vector<Picture>& all, PowerResult& row, std::vector<Finding>& findings) const;
  void say_woken(const std::vector<Picture>& all, bool dark_cue, PowerResult& row,
                 std::vector<Finding>& findings) const;
  void say_greeted(const std::vector<Picture>& all, Nanos woke, PowerResult& row,
                   std::vector<Finding>& findings) const;

  const Gauge gauge_;
  const PowerUp power_up_;
  const Channels wired_;
  const Nanos at_, resolution_;
  std::optional<PowerCut> cut_;
  Channels lit_before_ = 0;
  std::vector<LampEvent> events_;
};

}  // namespace tachproof
