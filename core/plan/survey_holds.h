// Boundaries whose two sides differ by blinking alone: thresholds by holds.
//
// While a blinking lamp is lit it looks like a steady one, while it is dark like
// a dark one: a ramp past such a boundary gives no instant at which it was
// crossed. A hold decides the side: after a step to x rpm the lamps are watched
// for longer than any lit or dark phase of the blink, and then only one of the
// two cues explains what they showed. Holds one above the other, coming from
// well below, bracket the rising threshold between the last x that left the old
// cue and the first that brought the new one; holds one below the other, coming
// from well above, the falling one. No return between them is needed: what
// counts is the highest rpm so far.
#pragma once

#include <algorithm>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/result.h"
#include "core/judge/window_reading.h"
#include "core/plan/survey_view.h"

namespace tachproof {

// The sides differ, and a picture belongs to both.
bool blink_only(const WindowReading& reading, std::size_t boundary);

// Reads which side of a boundary was shown during a hold.
class HoldReading {
 public:
  enum class Side {
    below,
    above,
    neither,  // what was shown is no cue of the two
    either    // too short to decide
  };

  // A gauge with a blink. Only `wired` channels are looked at.
  HoldReading(const Gauge& gauge, Channels wired, std::size_t boundary);

  // How long a hold must last from the step on: the longest response, the lamps'
  // settling, and the longest phase of the blink, rate and duty at the ends of
  // their tolerances, with something to spare.
  Nanos least() const { return settled_ + std::max(longest_lit_, longest_dark_) + spare_; }

  // `lamps`: as shown_lamps() gives them; from the step to the hold's end.
  Side read(std::span<const LampEvent> lamps, Nanos step, Nanos until) const;

 private:
  bool explains(std::size_t window, std::span<const LampEvent> lamps, Nanos from, Nanos until) const;

  WindowReading reading_;
  Channels wired_;
  std::size_t boundary_;
  Nanos settle_ = 0;
  Nanos settled_ = 0;  // after a step, until the lamps show one cue
  Nanos longest_lit_ = 0, longest_dark_ = 0, spare_ = 0;
};

// One threshold, bracketed by passes of holds.
//
// A pass goes away from the old side of the boundary: upwards for a rising
// threshold, downwards for a falling one. The first pass asks whether the
// threshold is where it is set; where it is not, the next looks in the whole
// range, then further out, and later ones divide the bracket.
class ThresholdSearch {
 public:
  // `expected_rpm` is where it is set, `low_rpm`..`high_rpm` where it is looked
  // for first, `width_rpm` how narrow the bracket must get.
  ThresholdSearch(Direction direction, double expected_rpm, double low_rpm, double high_rpm,
                  double width_rpm);

  // Known from elsewhere: that rpm shows the old side, or the new one, on the way.
  void old_side_at(double rpm) { old_ = std::max(old_, ahead(rpm)); }
  void new_side_at(double rpm) { new_ = std::min(new_, ahead(rpm)); }
  void narrow_to(double width_rpm) { width_ = width_rpm; }

  // The next pass in playing order; empty when it is known or given up.
  std::vector<double> pass() const;
  // What a pass showed, hold by hold; it ends with the first new side.
  void seen(std::span<const double> rpm, std::span<const HoldReading::Side> sides);

  struct Bracket {
    double low_rpm = 0, high_rpm = 0;  // the threshold is between them
    double middle_rpm() const { return (low_rpm + high_rpm) / 2; }
    double half_width_rpm() const { return (high_rpm - low_rpm) / 2; }
  };
  std::optional<Bracket> bracket() const;  // nothing before both sides were seen
  bool known() const;
  bool given_up() const { return given_up_; }
  double reach_rpm() const { return edge_high_ - edge_low_; }  // of the range that is looked at

 private:
  // Along the way: larger is later in a pass, whichever its direction.
  double ahead(double rpm) const { return sign_ * (rpm - expected_); }
  double rpm_of(double ahead) const { return expected_ + sign_ * ahead; }

  double sign_, expected_, edge_low_, edge_high_, width_;
  double old_, new_;  // the last that showed the old side, the first that showed the new one
  bool asked_ = false;
  int troubles_ = 0;
  bool given_up_ = false;
};

}  // namespace tachproof
