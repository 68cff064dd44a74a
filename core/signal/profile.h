// rpm as a function of time, in closed form.
//
// A scenario's steps are flattened into segments: constant, linear or sine.
// Everything that the bench needs of the profile comes from the segments by
// formula: rpm, slope, phase (pulses so far) and the instants at which a level
// is crossed. Nothing is sampled.
#pragma once

#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "core/base/rpm.h"
#include "core/base/time.h"

namespace tachproof {

// ---- what a scenario says -------------------------------------------------

// Jumps to `rpm` and stays.
struct Hold {
  double rpm = 0;
  Nanos lasts = 0;
};
// From where the profile is; a ramp that comes first starts at 0 rpm.
struct RampByRate {
  double to_rpm = 0;
  double rpm_per_s = 0;  // > 0; the direction follows from the target
};
struct RampByTime {
  double to_rpm = 0;
  Nanos lasts = 0;
};
// Takes no time.
struct StepTo {
  double rpm = 0;
};
// rpm(t) = mean + swing * sin(2 pi t / period), from its own start.
struct Wave {
  double mean_rpm = 0;
  double swing_rpm = 0;
  Nanos period = 0;
  Nanos lasts = 0;
};
// A log of rpm, linear between its samples: jumps to the first and ends at the last.
struct LoggedRpm {
  struct Sample {
    Nanos at = 0;  // from the step's start; the first at 0, rising
    double rpm = 0;
  };
  std::shared_ptr<const std::vector<Sample>> samples;  // at least two; shared, as logs are long
};
// The rpm is kept meanwhile.
struct Press {
  std::string action;
  Nanos lasts = 0;
};
// The unit loses its supply; the pulses go on at the rpm that is kept.
struct PowerOff {
  Nanos lasts = 0;
};
// What the unit is fed, from one voltage to another in a straight line; the rpm is kept.
struct Supply {
  double from_v = 0, to_v = 0;
  Nanos lasts = 0;
};
// A question to the person, or to the simulated unit. Takes no profile time.
struct Ask {
  std::string question;
  // What a right answer is: the highest rpm of the profile so far, a number,
  // or a text compared without regard to case.
  enum class Wants { peak, number, text } wants = Wants::text;
  double number = 0;
  double within = 0;
  std::string text;
  // A button that the person shall press, in place of a question: any reply says that it is done.
  std::string button = {};
};
struct Repeat;
using Step =
    std::variant<Hold, RampByRate, RampByTime, StepTo, Wave, LoggedRpm, Press, PowerOff, Supply, Ask, Repeat>;
struct Repeat {
  int times = 1;
  std::vector<Step> steps;
};

// ---- what it means --------------------------------------------------------

// An instant finer than a nanosecond, so that ramps whose length is no whole
// number of nanoseconds do not add up to a drift. 0 <= frac_ns < 1.
struct Instant {
  Nanos whole = 0;
  double frac_ns = 0;
};

struct Segment {
  enum class Shape { constant, linear, sine };
  Shape shape = Shape::constant;
  Instant start;
  double lasts_s = 0;
  double rpm0 = 0;             // constant, linear: at the start; sine: the mean
  double slope_rpm_per_s = 0;  // linear
  double swing_rpm = 0;        // sine
  double period_s = 0;         // sine

  // `s` is seconds from the segment's start, 0 <= s <= lasts_s.
  double rpm(double s) const;
  double slope(double s) const;
  // Turns of the engine from the segment's start: the integral of rpm/60.
  double turns(double s) const;
  double lowest_rpm() const;  // over the whole segment
  double highest_rpm() const;
  // The first s in [from_s, lasts_s] at which rpm(s) reaches `level` from
  // below (rising: rpm >= level) or drops under it (falling: rpm < level).
  // Already there at from_s counts. Nothing when it does not happen. rpm() of
  // the answer is on the asked side of `level`, to the last bit.
  std::optional<double> reaches(double level, bool rising, double from_s) const;
};

// What is done to the unit, or asked, at its instant.
struct Action {
  Nanos at = 0;
  std::variant<Press, PowerOff, Supply, Ask> what;
  double peak_rpm = 0;  // the highest rpm of the profile until `at`
};

class Profile {
 public:
  Profile() = default;
  // Throws std::invalid_argument for an rpm outside 0..max_rpm, a rate or a
  // period that is not above 0, a wave that leaves 0..max_rpm, a time below 0,
  // a log of less than two samples or whose times do not rise from 0, a repeat
  // of less than 1, more than max_segments steps with all repeats and samples
  // written out, or more than max_duration. Files are checked with better
  // messages before.
  explicit Profile(std::span<const Step> steps);

  static constexpr double max_rpm = tachproof::max_rpm;
  static constexpr std::size_t max_segments = 1'000'000;
  static constexpr Nanos max_duration = 3'000'000'000 * ns_per_s;  // 95 years

  const std::vector<Segment>& segments() const { return segments_; }  // none of zero length
  const std::vector<Action>& actions() const { return actions_; }     // in time order
  Nanos duration() const { return duration_; }                        // rounded up

  // At a segment's edge the later segment speaks. Before 0: 0 rpm. After the
  // end: the last value. O(log segments).
  double rpm_at(Nanos t) const;
  double slope_at(Nanos t) const;  // rpm per second
  double highest_rpm() const;
  double lowest_rpm() const;

 private:
  std::vector<Segment> segments_;
  std::vector<Action> actions_;
  Nanos duration_ = 0;
};

}  // namespace tachproof
