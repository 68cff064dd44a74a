// The rpm of the recent past, for the judge: what it was at an instant, and
// where it turned.
#pragma once

#include <deque>
#include <optional>
#include <utility>
#include <vector>

#include "core/base/time.h"
#include "core/signal/profile.h"

namespace tachproof {

class RpmHistory {
 public:
  // A turn counts, from the extreme on, when r comes back by at least this much:
  // less cannot move a lamp both ways.
  explicit RpmHistory(double least_turn_rpm) : least_turn_rpm_(least_turn_rpm) {}

  void add(const Segment& segment);  // adjoining, in time order
  bool empty() const { return segments_.empty(); }
  Nanos begin() const { return segments_.front().start.whole; }

  // 0 before the first segment, the last value after the end.
  double rpm_at(Nanos t) const;
  double slope_at(Nanos t) const;  // rpm per second
  // The least and the most of r in from..to.
  std::pair<double, double> range_between(Nanos from, Nanos to) const;
  // r is the same all the time from..to, by the profile and not by chance.
  bool still_between(Nanos from, Nanos to) const;
  // The hold that t is in: its rpm, and since when; none in a ramp or a wave.
  struct Still {
    double rpm = 0;
    Nanos since = 0;
  };
  std::optional<Still> still_at(Nanos t) const;
  // r jumps at t, by at least the least turn.
  bool steps_between(Nanos from, Nanos to) const;
  // The latest such jump in [from, to]; call only if there is one.
  Nanos last_step_in(Nanos from, Nanos to) const;
  std::size_t turns_between(Nanos from, Nanos to) const;

  // Nothing before this will be asked for again.
  void forget_before(Nanos t);
  bool any_before(Nanos t) const;  // that could be forgotten

 private:
  const Segment* segment_at(Nanos t) const;
  void extreme(Nanos at, double rpm);

  double least_turn_rpm_;
  std::deque<Segment> segments_;
  std::deque<Nanos> turns_, steps_;
  bool going_up_ = true;
  double extreme_rpm_ = 0;
  Nanos extreme_at_ = 0;
};

}  // namespace tachproof
