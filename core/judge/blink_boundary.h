// A boundary whose two sides differ by blinking only.
//
// No lamp has to change at the instant at which the unit goes from "left white" to "left
// white blinking". But a dark left lamp is explained by the blinking side alone, and a left
// lamp that has been lit for longer than a lit phase lasts is explained by the steady
// side alone, at some instant of that time. Such sights, an instant or an interval each, are
// what the boundary is decided from (core/judge/threshold_bounds.h).
#pragma once

#include <algorithm>
#include <functional>

#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/judge/window_reading.h"

namespace tachproof {

class BlinkBoundary {
 public:
  // `slack`: how far two stamps may be off against each other.
  BlinkBoundary(const Gauge& gauge, const WindowReading& reading, std::size_t boundary, Nanos slack);

  // Whether this boundary is one.
  static bool is_one(const WindowReading& reading, std::size_t boundary);

  // Somewhere in from..to only that side explained the lamps.
  using Sight = std::function<void(bool above, Nanos from, Nanos to)>;

  // These lamps were lit from `from` to `to`, adjoining the last span. `inside`: the
  // unit may have shown the two windows of this boundary only, and nothing disturbed it.
  // `still`: r was constant, so that one sight is as good as many.
  void span(Nanos from, Nanos to, Channels lit, bool inside, bool still, const Sight& sight);

  // The longest that one side may look like the other.
  Nanos longest_phase() const { return std::max(below_.longest, above_.longest); }

 private:
  struct Side {
    std::size_t window = 0;
    bool blinks = false;  // a lamp that is still on the other side
    Nanos longest = 0;    // for which its blink may look like the other side
    Nanos next = 0;       // then the other side must have been shown since `longest` ago
  };
  void alike(Side& side, bool other_is_above, Nanos to, bool still, const Sight& sight);

  const WindowReading& reading_;
  Side below_, above_;
  enum class Picture { none, below, above, both } picture_ = Picture::none;
  Nanos alike_since_ = 0;
};

}  // namespace tachproof
