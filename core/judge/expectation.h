// What must be seen and what may be seen, at every instant.
//
// With tolerance +-T rpm and a response between Lmin and Lmax, the rpm that a
// conforming unit may believe at t lies between
//
//     lo(t) = min r(t - L) - T   and   hi(t) = max r(t - L) + T,   L in [Lmin, Lmax].
//
// A boundary with its deadband is a Schmitt trigger, and a trigger is monotone
// in its input: fed with lo(t) it gives the lowest state that a conforming unit
// can be in, fed with hi(t) the highest. So two triggers per boundary, moved
// by the instants at which r crosses four levels (each threshold +-T), give
// the exact set of reachable windows without sampling anything. The unit's
// simulator is not involved.
#pragma once

#include <functional>
#include <limits>
#include <memory>
#include <span>
#include <vector>

#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/judge/result.h"
#include "core/signal/profile.h"

namespace tachproof {

// From `from` until the next Reach, the unit may show windows lowest..highest.
// lowest == highest: it must show that one.
struct Reach {
  Nanos from = 0;
  std::size_t lowest = 0;
  std::size_t highest = 0;
  bool operator==(const Reach&) const = default;
};

// A change that a conforming unit must make, and when.
struct ExpectedTransition {
  std::size_t boundary = 0;  // the index of the window that begins there
  Direction direction = Direction::rising;
  double nominal_rpm = 0;
  Nanos earliest = 0;
  Nanos nominal = 0;  // exact threshold, fastest allowed response
  Nanos latest = 0;
};

struct ExpectationOptions {
  // What the unit saw before t = 0: nothing (it was on, with no signal), or
  // anything (a recording that begins in the middle of things).
  enum class Before { no_signal, unknown } before = Before::no_signal;
  // Added to the gauge's T at a threshold: what the signal itself may differ
  // from the profile by (scripted noise, or the uncertainty of a recording's
  // rpm). Called with the threshold in rpm. Empty: nothing.
  std::function<double(double)> extra_rpm;
  // What was played at t is the profile's rpm of an instant no further from t
  // than this: L then goes from Lmin - lag to Lmax + lag.
  Nanos source_lag = 0;
};

// Streams: feed segments in time order, take what has become certain.
class Expectation {
 public:
  Expectation(const Gauge& gauge, const ExpectationOptions& options = {});
  ~Expectation();
  Expectation(Expectation&&) noexcept;

  void add(const Segment& segment);
  // The signal was not the profile: in from..to the unit may show any window, and may
  // stay, within a deadband, where that left it. In time order; given before `take`
  // has gone beyond `from`.
  void disturbed(Nanos from, Nanos to);
  // The profile has ended; it stays at its last rpm until `until`.
  void finish(Nanos until);

  // Everything decided since the last take, up to `until`. `known_until`: no later
  // call will give a Reach or a transition that begins before it.
  struct Decided {
    std::vector<Reach> reaches;
    std::vector<ExpectedTransition> transitions;  // by `latest`
    Nanos known_until = 0;
  };
  Decided take(Nanos until = std::numeric_limits<Nanos>::max());

  // How often the profile has crossed this threshold; where it began is no crossing.
  std::size_t crossings(std::size_t boundary, Direction direction) const;

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

// The whole of a profile at once: for `expect`, and for tests.
struct ExpectedRun {
  std::vector<Reach> reaches;
  std::vector<ExpectedTransition> transitions;
};
ExpectedRun expect(const Gauge& gauge, const Profile& profile, const ExpectationOptions& options = {});

}  // namespace tachproof
