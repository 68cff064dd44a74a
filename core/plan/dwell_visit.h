// A visit of a dwell to one boundary, with an even signal: over both thresholds and back.
//
// Without the noise, which would make the lamps change early, now here, now there. The response makes them
// late on the way up and, mostly, as late on the way down, so the middle between the two rpm at which they
// change is near that of the unit's own deadband; own_middle.h does the rest. Only the rpm about each
// threshold is passed in a ramp; what lies between, where nothing can change, is jumped.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/signal/profile.h"

namespace tachproof {

class DwellVisit {
 public:
  // What one shows: the mean rpm at which the lamps changed on either way, the response included.
  struct Seen {
    double up_rpm = 0, down_rpm = 0;
    double rate = 0;  // rpm per second
    double middle_rpm() const { return (up_rpm + down_rpm) / 2; }
    // The unit's response, by this visit and another of the same boundary at another rate: the mean of both
    // ways.
    double response_s(const Seen& other) const {
      return (up_rpm - down_rpm - other.up_rpm + other.down_rpm) / 2 / (rate - other.rate);
    }
  };
  struct Change {
    Nanos at = 0;  // from the start of the steps
    bool up = false;
  };

  // `settling`: how long the first rpm is held before the unit's response to it.
  std::vector<Step> steps(Nanos settling) const;
  Nanos lasts(Nanos settling) const;
  // Nothing: the lamps did not change on one of the ways, or at a time when a jump may have changed them, or
  // a unit that answers later than is allowed.
  std::optional<Seen> seen(std::span<const Change> changes, Nanos settling) const;

 private:
  friend class DwellVisits;
  void make_brief(double up_rpm, double down_rpm);
  Nanos ramp(double from_rpm, double to_rpm) const;

  bool is_brief_ = false;  // its ramps go on for as long as the response
  Nanos response_ = 0;     // the longest that is allowed
  double rate_ = 0;        // rpm per second
  double low_rpm_ = 0, high_rpm_ = 0;
  double up_rpm_ = 0, down_rpm_ = 0;  // where the ramps begin: jumped to, unless at low and high
};

// The visits to one boundary.
class DwellVisits {
 public:
  DwellVisits(const Gauge& gauge, std::size_t boundary);

  // They take turns.
  enum class Rate { fast, slow };
  // Each threshold is looked for about where it would be if the unit's deadband were the gauge's, with its
  // middle at `middle_rpm`: within a tolerance and a little.
  DwellVisit brief(Rate rate, double middle_rpm) const;
  // About where the lamps changed the last time, by the unit's response where it is known.
  DwellVisit again(Rate rate, const DwellVisit::Seen& last, std::optional<double> response_s) const;
  // All rpm up to `half_rpm` from the middle, wherever the thresholds are.
  DwellVisit whole(Rate rate, double middle_rpm, double half_rpm) const;

  double nominal_rpm() const { return nominal_rpm_; }  // the middle of the gauge's deadband
  // How far a whole one goes at first, and at most, so that it meets no other boundary.
  double usual_half() const;
  double widest_half() const { return widest_half_; }

 private:
  double rpm_per_s(Rate rate) const { return rate == Rate::fast ? fast_ : slow_; }
  double lead_rpm(double rate) const;

  double nominal_rpm_, deadband_rpm_, within_rpm_, widest_half_;
  Nanos response_;
  double fast_ = 0, slow_ = 0;
};

}  // namespace tachproof
