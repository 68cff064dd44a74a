// On which side of each boundary the lamps say that the unit was, and what that says of the
// boundary's thresholds: from changes of picture, and where blinking alone differs from intervals.
#pragma once

#include <deque>
#include <optional>
#include <utility>
#include <vector>

#include "core/judge/blink_boundary.h"
#include "core/judge/rpm_history.h"
#include "core/judge/threshold_bounds.h"
#include "core/judge/window_reading.h"

namespace tachproof {

class BoundarySides {
 public:
  // `slack`: how far two stamps may be off against each other. `slowest`: the longest response.
  BoundarySides(const Gauge& gauge, const WindowReading& reading, Nanos slack, Nanos slowest);

  // What was lit from..to, while windows lowest..highest were to be shown.
  struct Span {
    Nanos from = 0, to = 0;
    Channels lit = 0;
    std::size_t lowest = 0, highest = 0;
    bool disturbed = false;
  };
  void span(const Span& span, const RpmHistory& history);
  // The lamps went from one window's picture to another's. `disturbed`: they date nothing.
  void changed(std::size_t from_window, std::size_t to_window, Nanos at, bool disturbed,
               const RpmHistory& history);

  // A change of pictures, both some window's, was seen then.
  bool saw_clearly(Nanos at) const;
  // For how long the sides of a boundary may look alike; none where a lamp tells them apart at once.
  std::optional<Nanos> longest_phase(std::size_t boundary) const;
  bool any_by_blinks() const { return !by_blinks_.empty(); }
  const std::vector<ThresholdBounds>& bounds() const { return bounds_; }  // [boundary]
  void forget_before(Nanos t);

 private:
  const WindowReading& reading_;
  Nanos response_to_;
  std::vector<std::pair<std::size_t, BlinkBoundary>> by_blinks_;  // by boundary
  std::vector<ThresholdBounds> bounds_;
  std::deque<Nanos> clear_changes_;
};

}  // namespace tachproof
