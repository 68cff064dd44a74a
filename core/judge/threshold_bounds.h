// Between which rpm a threshold must lie, from what was seen on either side of it.
//
// A unit that is below a boundary at t decided so from r(t - L), L its response: so its
// rising threshold is above that rpm. Above at t: its falling threshold is not above it.
// But a unit that has just come down may still rest on an answer that is quicker than its way up.
// Seen below and then above: its rising threshold was reached somewhere between, so it
// is not above the highest rpm between; and likewise for falling. None of that needs a
// change that can be dated, or a ramp: holds serve as well as ramps, and where lamps
// differ by blinking only, an interval serves in place of an instant.
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <utility>
#include <vector>

#include "core/base/time.h"
#include "core/judge/result.h"
#include "core/judge/rpm_history.h"

namespace tachproof {

class ThresholdBounds {
 public:
  // Responses from 0 to 1.25 times `slowest` can be asked for afterwards.
  explicit ThresholdBounds(Nanos slowest = 0) : slowest_(slowest) {}

  // Somewhere in from..to the unit was on that side of the boundary. In time order.
  void seen(bool above, Nanos from, Nanos to, const RpmHistory& history);
  // From here on nothing is known of its side.
  void lost() { last_.reset(); }

  struct Responses {
    double fastest_s = 0, slowest_s = 0;
  };
  // low <= threshold <= high for every response within `likely`, whatever it was each time, within
  // `either_way` just after it crossed the other way, and within `allowed` where r jumped: a step is answered
  // when an average has caught up, which says little of the response elsewhere. A side that nothing was seen
  // of is infinite. Where visits contradict each other, by the unit's own scatter, low is above high.
  struct Between {
    double low_rpm = 0, high_rpm = 0;
    int passes = 0;  // across the threshold, in this direction
    bool known() const { return passes > 0; }
  };
  Between between(Direction direction, const Responses& likely, const Responses& either_way,
                  const Responses& allowed) const;

 private:
  // r from `to` back to `from` less the slowest response, evenly.
  struct Glimpse {
    static constexpr std::size_t samples = 33;
    std::array<double, samples> rpm{};
    double spacing_s = 0, lasts_s = 0;
    bool jumps = false;
    bool just_crossed = false;  // the other way, within the longest response
    double binds_rpm = 0;       // for every response; upside down for low bounds
    // Of r(t - L), over all t in from..to and all L.
    std::pair<double, double> range(double fastest_s, double slowest_s) const;
  };
  // The tightest few.
  struct Kept {
    std::vector<Glimpse> glimpses;
    std::size_t loosest = 0;
  };
  struct Bounds {
    Kept low, high;
    int passes = 0;
  };
  struct Stretch {
    Nanos from = 0, to = 0;
    bool just_crossed = false;
  };
  Glimpse look(const Stretch& stretch, const RpmHistory& history) const;
  void keep(Kept& kept, const Stretch& stretch, const RpmHistory& history, bool want_high) const;

  struct Sight {
    bool above = false;
    Nanos from = 0, to = 0;
    Nanos side_since = 0;
  };
  Nanos slowest_;
  std::optional<Sight> last_;
  Bounds rising_, falling_;
};

}  // namespace tachproof
