// Lamps that show what no window that is due shows: for how long, and whether that is held
// against the unit.
#pragma once

#include <optional>

#include "core/judge/disturbances.h"
#include "core/judge/findings.h"
#include "core/judge/window_reading.h"

namespace tachproof {

class WrongCues {
 public:
  WrongCues(const Gauge& gauge, const WindowReading& reading, Channels wired)
      : gauge_(gauge), reading_(reading), wired_(wired) {}

  struct Wrong {
    Nanos from = 0;
    Channels lit = 0;
    bool known = false;                   // a picture of some window
    bool from_demand = false;             // began when the demand moved, not the lamps
    std::size_t lowest = 0, highest = 0;  // the demand: once it is one window, that
    std::size_t window = 0;               // what it was read as
    double rpm = 0;
  };
  bool is_one() const { return wrong_.has_value(); }
  void begin(const Wrong& wrong) { wrong_ = wrong; }
  // The demand while it lasts.
  void demand(std::size_t lowest, std::size_t highest);

  struct End {
    Nanos at = 0;
    bool by_demand = false;  // the demand moved, not the lamps
    bool reread = false;     // the same lamps, now read as another window's
    Nanos slack = 0;         // lamps of one change may come this far apart
    Nanos watched_from = 0;  // the watcher's first instant
  };
  // It is over: a finding, where it is the unit's fault.
  std::optional<Finding> end(const End& end, const Disturbances& disturbances);

 private:
  bool on_the_way(const Wrong& wrong) const;
  Finding finding(const Wrong& wrong, Nanos lasted) const;

  const Gauge& gauge_;
  const WindowReading& reading_;
  Channels wired_;
  std::optional<Wrong> wrong_;
};

}  // namespace tachproof
