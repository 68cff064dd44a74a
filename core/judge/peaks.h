// The highest rpm that a unit must show when it is asked for it: since it was last cleared, or lost its
// supply.
//
// A unit whose supply dips may lose its peak or not, and one that wakes counts from some instant of its
// waking on: then more than one answer is right.
#pragma once

#include <cstdint>
#include <limits>
#include <vector>

#include "core/base/time.h"
#include "core/signal/profile.h"

namespace tachproof {

struct PeakSpan {
  double lowest = 0, highest = 0;

  bool operator==(const PeakSpan&) const = default;
};

class Peaks {
 public:
  static constexpr Nanos never = std::numeric_limits<std::int64_t>::max();

  void rpm(const Segment& segment);    // adjoining, in time order
  void cleared(Nanos at, double rpm);  // it counts on from this rpm
  // At one instant from `from` to `to`; or, unless `surely`, not at all. `to` may be never, until it is
  // known.
  void lost(Nanos from, Nanos to, bool surely);
  void lost_by(Nanos to);  // the last that was lost with no end known

  // All that the unit may show at `t`; first what it shows if nothing that may have been was. At least one.
  std::vector<PeakSpan> at(Nanos t) const;

 private:
  struct Stretch {
    Nanos from = 0, to = 0;
    double lowest = 0, highest = 0;
  };
  struct Clearing {
    Nanos from = 0, to = 0;
    double rpm = 0;
    bool surely = true;
  };
  PeakSpan since(const Clearing& clearing, Nanos t) const;

  std::vector<Stretch> stretches_;  // without those that no peak comes of
  std::vector<Clearing> clearings_;
};

}  // namespace tachproof
