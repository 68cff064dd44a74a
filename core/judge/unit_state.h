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
#include <vector>

#include "core/gauge/gauge.h"

namespace tachproof {

struct UnitState {
  Gauge gauge;                     // as set, its boundaries where takes have put them
  std::string name;                // "after take 2 at 4210 rpm"; empty before the first event
  double doubt_rpm = 0;            // of the boundaries that were taken: a unit may have them this far off
  std::size_t level = 0;           // of the dimming button's
  std::string unknown;             // why nobody can say what the unit does now, a clause; empty: known
  std::string level_unknown = {};  // the same of the level alone
};

// What the unit may have believed when it was pressed.
struct RpmAtPress {
  double rpm = 0;                  // of the profile, at the instant
  double lowest = 0, highest = 0;  // over what the unit may have measured
};

// When a unit that was pressed until `released` must show what it has made of it.
Nanos answered_by(const Gauge& gauge, Nanos released);

// Follows one unit from event to event, as it should go on from what it has done so far.
class StateFollower {
 public:
  explicit StateFollower(const Gauge& gauge);

  const UnitState& now() const { return now_; }
  // The same unit, had it done another thing at the last event: not taken what it had to take,
  // taken what it had to refuse, lost what it had to keep, kept what it had to lose. Empty where
  // there is no such thing, or where no lamp could tell.
  const std::vector<StateFollower>& otherwise() const { return otherwise_; }
  // The same, had it done another thing that it was free to do: a dip of its supply may or may not have
  // cost it what it need not keep.
  const std::vector<StateFollower>& as_well() const { return as_well_; }

  struct Pressed {
    std::optional<bool> refused;  // of a take; nothing: it is too near the limit to say
    bool takes = false, dims = false, clears_peak = false;
  };
  // An action that is no button of the gauge changes nothing.
  Pressed press(const std::string& button, Nanos at, const RpmAtPress& rpm);
  // It need not heed a button before it has to be awake again; the latest time there is: not known yet.
  void power_lost(Nanos awake_by);
  // It is fed otherwise than before; `dips`: outside what it may be fed, for a time.
  void fed(bool dips);
  // What it is fed now, "at 9.0 V", and from when on it has to heed a button.
  void fed_now(const std::string& name, Nanos awake_by);
  void awake_by(Nanos t) { awake_by_ = t; }  // where that is known later only
  // Nobody can say what it does now, `why`, a clause.
  void is_unknown(const std::string& why) { now_.unknown = why; }

  // What was seen of it: the last take was done at another rpm than that of the press; the lamps
  // are dimmed to another level than the next one.
  void took(double rpm, double doubt_rpm);
  // All that a button moves is off by as much after a loss of power.
  void came_back_off(double by_rpm, double doubt_rpm);
  void dimmed_to(std::size_t level) { now_.level = level; }
  // All boundaries are off by as much, by the supply.
  void drifted(double by_rpm, double doubt_rpm);

  struct Taken {
    std::string button;
    std::size_t boundary = 0;
    double rpm = 0, doubt_rpm = 0;
  };
  const std::vector<Taken>& taken() const { return taken_; }  // one of an anchor

  // Boundaries that hang from this button's anchor, from 1.
  static std::vector<std::size_t> moved_by(const Gauge& gauge, const TakeRpm& take);

 private:
  Pressed take(const Button& button, const TakeRpm& take, Nanos at, const RpmAtPress& rpm);
  void keep(Taken taken);
  void set_boundaries();  // by what was taken
  void call_it();         // by what happened last, and what it is fed

  Gauge set_;  // by its file
  UnitState now_;
  std::vector<StateFollower> otherwise_, as_well_;
  std::string event_, fed_;   // "after set 1 at 4210 rpm"; "at 9.0 V"
  std::vector<Taken> taken_;  // in the order of the presses, one of an anchor
  int takes_ = 0, dims_ = 0, losses_ = 0;
  std::optional<Nanos> peak_shown_;
  Nanos awake_by_ = 0;
};

// Their boundaries are at the same rpm.
bool same_boundaries(const UnitState& a, const UnitState& b);

}  // namespace tachproof
