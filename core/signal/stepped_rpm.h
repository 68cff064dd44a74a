// A profile as played by a source that can only be set to one rpm after
// another: a staircase.
//
// A change takes such a source up to `change`, within which it comes at an
// instant unknown, and the next cannot begin before. So a level that is asked
// for at t is that of t + change/2, the middle of the shortest stair:
//
//     played(t) = r(t'),   |t' - t| <= change/2 for the stair + change/2 for the instant
//
// or, once a level has lasted longer, within `within_rpm` of r(t). Ramps, waves
// and steps are all covered by the one lag; nothing else about them matters to
// the judge.
#pragma once

#include <deque>
#include <optional>

#include "core/base/time.h"
#include "core/signal/profile.h"

namespace tachproof {

struct SteppedTiming {
  Nanos change = 0;       // > 0
  double within_rpm = 0;  // a level is kept while the profile is no further away; > 0
};

// The bound |t' - t| above.
Nanos source_lag(const SteppedTiming& timing);

// The furthest that what is played may be from the profile on its ramps and
// waves, in rpm: the steepest slope times the lag, and within_rpm. A step is
// only early or late, by the lag.
double worst_ramp_error_rpm(const Profile& profile, const SteppedTiming& timing);

struct RpmChange {
  Nanos at = 0;
  double rpm = 0;  // 0: no pulses, to the letter
};

// Streams: segments in, changes out, both in time order.
class SteppedRpm {
 public:
  explicit SteppedRpm(const SteppedTiming& timing) : timing_(timing) {}

  void add(const Segment& segment);  // adjoining, in time order

  // The next change. One after `due` waits until what follows it is known; one
  // until then is made of what is.
  std::optional<RpmChange> next(Nanos due);

 private:
  double rpm_at(Nanos t) const;
  std::optional<Nanos> first_departure(Nanos from) const;

  SteppedTiming timing_;
  std::deque<Segment> segments_;  // what still matters
  Nanos known_until_ = 0;
  std::optional<RpmChange> last_;
};

}  // namespace tachproof
