// What presses and losses of power make of a unit that does as it is set: which rpm its
// boundaries are at, and how brightly its lamps are lit, from one event to the next.
//
// A take reads the rpm at the instant of the press. The unit averages, updates now and then
// and rounds, so that what it takes is known only within `doubt_rpm`: the span of the rpm over
// the slowest response before the press until it is released, and half the unit's resolution.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "core/gauge/gauge.h"

namespace tachproof {

struct UnitState {
  Gauge gauge;            // as set, its boundaries where takes have put them
  std::string name;       // "after take 2 at 4210 rpm"; empty before the first event
  double doubt_rpm = 0;   // of the boundaries that were taken: a unit may have them this far off
  std::size_t level = 0;  // of the dimming button's
  std::string unknown;    // why nobody can say what the unit does now, a clause; empty: known
};

// What the unit may have believed when it was pressed.
struct RpmAtPress {
  double rpm = 0;                  // of the profile, at the instant
  double lowest = 0, highest = 0;  // over what the unit may have measured
};

// When a unit that was pressed until `released` must show what it has made of it.
Nanos answered_by(const Gauge& gauge, Nanos released);

class StateFollower {
 public:
  explicit StateFollower(const Gauge& gauge);

  const UnitState& now() const { return now_; }
  // What the last event would have left if the unit had done the other thing: not taken what it
  // had to take, taken what it had to refuse, lost what it had to keep. Nothing where there is
  // no such thing, or where no lamp could tell.
  const std::optional<UnitState>& otherwise() const { return otherwise_; }

  struct Pressed {
    std::optional<bool> refused;  // of a take; nothing: it is too near the limit to say
    bool takes = false, dims = false, clears_peak = false;
  };
  // An action that is no button of the gauge changes nothing.
  Pressed press(const std::string& button, Nanos at, const RpmAtPress& rpm);
  void power_lost();

  // Boundaries that hang from this button's anchor, from 1.
  static std::vector<std::size_t> moved_by(const Gauge& gauge, const TakeRpm& take);

 private:
  Pressed take(const Button& button, const TakeRpm& take, const RpmAtPress& rpm);

  const Gauge set_;  // by its file
  UnitState now_;
  std::optional<UnitState> otherwise_;
  std::optional<UnitState> unless_taken_;  // the last take, done the other way
  struct Taken {
    std::string button;
    std::size_t boundary = 0;
    double rpm = 0, doubt_rpm = 0;
  };
  std::vector<Taken> taken_;  // in the order of the presses; the last of an anchor counts
  int takes_ = 0, dims_ = 0, losses_ = 0;
  std::optional<Nanos> peak_shown_;
};

}  // namespace tachproof
