// What a driver could see, by brute force: which windows a unit within its tolerances could show at every
// half millisecond of this very drive, and which pictures that means. Neither the judge nor its expectation
// is asked, and nothing is excused because a judge would find it hard to measure.
//
// *Unsound*, when one of these holds:
//   - a threshold is beyond T by more than 5 % and the unit's own resolution, in a direction in which the
//     drive makes every sound unit cross the boundary, by jump or by ramp, whatever the two sides look like;
//   - the response to a slow ramp is, at its least, beyond the longest by more than 5 %, 1 ms and half a
//     pulse period (or, at its most, under the shortest by as much), in a direction that is crossed;
//   - the lamps show what no window can look like that a unit with 1.05 of the tolerances could show, for
//     more than 0.1 s at a stretch, or within one stay in a window;
//   - rate or duty of a blink is beyond by more than 5 % where a sound unit blinks for two periods, or what
//     should blink does not for one and a half.
// *Sound*: nothing of the kind, no fault, and the unit's windows, at once and with its latest lamp, are at
// every instant among those of a unit with 0.95 of the tolerances; and it never moves against the drive, as
// one does that flickers.
// *Between*: neither; it is drawn again.
//
// A pulse that is missing, doubled or none of the engine's leaves open which window is shown while it is
// inside a sound unit's averaging, and nothing else: a threshold is no less wrong for it, and lamps that look
// like no window are wrong all the same. Likewise the first response of a recording, as nobody knows what was
// before it. Contact bounce opens nothing. An odd pulse of a recording that looks like bounce, as it is
// nearer to another change of the line than any pulse of the gauge at 20,000 rpm, is either: a unit is
// unsound only where it would be with the pulse forgiven, and sound only where it is without.
#pragma once

#include <string>
#include <vector>

#include "tests/study/plain_gauge.h"
#include "tests/study/road.h"
#include "tests/study/signal.h"
#include "tests/study/unit.h"

namespace tachproof::study {

enum class Truth { sound, unsound, between };

struct Told {
  Truth truth = Truth::between;
  std::vector<std::string> why;  // of unsound: every rule that was broken
};

class Oracle {
 public:
  // `recording`: it begins in the middle of things; else with no signal before 0. `scripted_wander_rpm`:
  // standard deviation of what the road does not say.
  // `clear`: those of `odd` that nobody could take for bounce.
  Oracle(const Gauge& gauge, const Road& road, const std::vector<double>& odd,
         const std::vector<double>& clear, bool recording, double scripted_wander_rpm);

  // By settings alone: enough to call a unit unsound.
  std::vector<std::string> by_settings(const Unit& unit) const;
  Told tell(const Unit& unit, const Shown& shown, bool faulty) const;

  // Every sound unit crosses boundary b that way.
  bool crossed(std::size_t b, bool rising) const { return (rising ? up_ : down_)[b]; }
  double longest_stay_s(std::size_t window) const { return stay_s_[window]; }
  // A time in the middle of the longest stretch in which every sound unit shows this window; below 0: none.
  double middle_of_stay_s(std::size_t window) const { return stay_at_[window]; }

 private:
  struct Family {
    std::vector<unsigned char> lowest, highest;
  };
  // `open`: where any window may be shown; null: nowhere.
  Family family(double t_rpm, double from_s, double to_s, const std::vector<bool>* open) const;
  std::vector<std::string> by_picture(const Shown& shown, const Family& wide) const;
  bool goes_with_the_drive(const Shown& shown) const;
  bool always_inside(const Unit& unit, const Shown& shown, const Family& narrow) const;

  PlainGauge gauge_;
  std::vector<double> rpm_;         // at every half millisecond
  std::vector<bool> open_, clear_;  // an odd pulse is inside the averaging; one that is clearly odd
  bool recording_ = false;
  double extra_rpm_ = 0;
  std::vector<bool> up_, down_;           // [b]
  std::vector<double> stay_s_, stay_at_;  // [w]
};

// The unit's own resolution of a threshold, in rpm.
double resolution_rpm(const Unit& unit);

}  // namespace tachproof::study
