// From a camera's time to the run's, by a lamp that the bench itself flashes.
//
// Each edge of the sync lamp is known in the run's time, and seen between two
// frames in the camera's: that bounds the offset between the clocks there. At
// another instant the bounds are wider by as much as clocks can run apart. All
// bounds together leave a span; its middle is used, half of it is the
// uncertainty. When nothing is left, frames are missing or the flashes are not
// those of the run.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "core/base/time.h"

namespace tachproof {

class SyncClock {
 public:
  // Two crystals: common practice, no published source.
  static constexpr double most_drift = 200e-6;

  void flashed(Nanos run_from, Nanos run_to);           // as played, in time order
  void seen(Nanos after, Nanos before, bool comes_on);  // an edge, in the camera's time

  // Run time less camera time at this instant of the camera's.
  struct Offset {
    Nanos lowest = 0, highest = 0;
    Nanos middle() const { return lowest + (highest - lowest) / 2; }
    Nanos half_width() const { return (highest - lowest + 1) / 2; }
  };
  std::optional<Offset> offset_at(Nanos camera) const;  // nothing before the first edge
  bool consistent() const { return consistent_; }
  // Where they are not: the camera's time beside the run's, 1.02 for two per cent fast, when one
  // steady rate explains every edge that was matched; four at least.
  std::optional<double> rate() const;
  std::size_t edges_played() const { return played_.size(); }
  std::size_t edges_seen() const { return seen_; }
  // When the next edge that has not been seen was played.
  std::optional<Nanos> awaited() const;

 private:
  struct Played {
    Nanos at = 0;
    bool on = false;
  };
  struct Bound {
    Nanos camera = 0;
    Nanos lowest = 0, highest = 0;
    Nanos run = 0;      // when it was played
    bool alike = true;  // on where on was played
  };
  struct Seen {
    Nanos after = 0, before = 0;
    bool on = false;
  };
  void match();

  std::vector<Played> played_;
  std::vector<Seen> unmatched_;
  std::vector<Bound> bounds_;
  std::size_t seen_ = 0;
  bool consistent_ = true;
};

}  // namespace tachproof
