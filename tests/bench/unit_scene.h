// A gauge, a simple signal and questions about events, for tests of the
// simulated unit. The edges are made here, apart from the program's own.
#pragma once

#include <algorithm>
#include <cmath>
#include <map>
#include <stdexcept>
#include <string>
#include <vector>

#include "bench/rigs/simulated/simulated_unit.h"
#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/judge/timeline.h"

namespace tachproof::test {

inline constexpr Channels left_white = 0b00001, left_blue = 0b00010, right_white = 0b00100,
                          right_magenta = 0b01000, top_blue = 0b10000;
inline constexpr Channels there = left_blue | right_white;

// Windows from 0, 3000, 4000, 5000 (count-in-1), 5500 and 7000 rpm, the last
// one blinking; a deadband of 40 rpm below the boundaries.
inline Gauge test_gauge() {
  Gauge gauge;
  gauge.name = "Test gauge";
  gauge.pulses_per_rev = 3;
  gauge.lamps = {{"left", {"white", "blue"}}, {"right", {"white", "magenta"}}, {"top", {"blue"}}};
  gauge.windows = {{"quiet", 0, {}},
                   {"near", 3000, {left_white, 0}},
                   {"there", 4000, {left_blue | right_white, 0}},
                   {"count-in-1", 5000, {right_magenta, 0}},
                   {"go", 5500, {left_white | right_white | top_blue, 0}},
                   {"beyond", 7000, {left_blue, top_blue}}};
  gauge.deadband = {40, Sits::below};
  gauge.blink = Blink{4, 0.25};
  gauge.tolerance.rpm = 3;
  gauge.tolerance.response_to = 120 * ns_per_ms;
  return gauge;
}

// As exact as a simulated unit can be: no delay, a reading at every pulse.
inline Behaviour exact_behaviour() {
  Behaviour behaviour;
  behaviour.response_ms = 0;
  behaviour.averaging_pulses = 1;
  behaviour.update_hz = 0;
  behaviour.resolution_rpm = 0;
  behaviour.timer_hz = 1e9;
  behaviour.signal_lost_ms = 500;
  return behaviour;
}

// Pulses of an rpm that is given as straight lines.
class Signal {
 public:
  explicit Signal(double pulses_per_rev) : pulses_per_rev_(pulses_per_rev) {}

  Signal& hold(double rpm, double seconds) { return line(rpm, rpm, seconds); }
  Signal& ramp(double from_rpm, double to_rpm, double seconds) { return line(from_rpm, to_rpm, seconds); }
  Signal& silence(double seconds) { return line(0, 0, seconds); }

  const std::vector<Nanos>& pulses() const { return pulses_; }
  Nanos until() const { return from_seconds(end_s_); }

 private:
  // The phase after s seconds is f0 s + g s^2 / 2; solved for each whole phase.
  Signal& line(double from_rpm, double to_rpm, double seconds) {
    const double f0 = from_rpm * pulses_per_rev_ / 60;
    const double g = (to_rpm - from_rpm) * pulses_per_rev_ / 60 / seconds;
    const double total = (f0 + g * seconds / 2) * seconds;
    for (double due = 1 - phase_; due <= total; due += 1) {
      const double s = 2 * due / (f0 + std::sqrt(std::max(0.0, f0 * f0 + 2 * g * due)));
      pulses_.push_back(from_seconds(end_s_ + s));
    }
    phase_ = std::fmod(phase_ + total, 1.0);
    end_s_ += seconds;
    return *this;
  }

  double pulses_per_rev_;
  double phase_ = 0;
  double end_s_ = 0;
  std::vector<Nanos> pulses_;
};

using Events = std::vector<LampEvent>;

inline Events play(const Gauge& gauge, const Behaviour& behaviour, const Signal& signal,
                   std::uint64_t seed = 1) {
  SimulatedUnit unit(gauge, behaviour, gauge, seed);
  Events events;
  unit.run(signal.pulses(), signal.until(), events);
  return events;
}

inline Channels lit_at(const Events& events, Nanos t) {
  Channels lit = 0;
  for (const LampEvent& e : events)
    if (e.at <= t) lit = e.lit;
  return lit;
}
inline Channels lit_at(const Events& events, double s) { return lit_at(events, from_seconds(s)); }

// When `lit` first shows, at or after `from_s`; in seconds. -1: never.
inline double first_shows(const Events& events, Channels lit, double from_s = 0) {
  for (const LampEvent& e : events)
    if (e.lit == lit && to_seconds(e.at) >= from_s) return to_seconds(e.at);
  return -1;
}

// The share of from_s..to_s in which any of `channels` is lit.
inline double lit_share(const Events& events, Channels channels, double from_s, double to_s) {
  double lit_s = 0;
  for (std::size_t i = 0; i < events.size(); ++i) {
    if (!(events[i].lit & channels)) continue;
    const double from = std::max(from_s, to_seconds(events[i].at));
    const double to = i + 1 < events.size() ? std::min(to_s, to_seconds(events[i + 1].at)) : to_s;
    lit_s += std::max(0.0, to - from);
  }
  return lit_s / (to_s - from_s);
}

// How often any of `channels` comes on in from_s..to_s.
inline int times_on(const Events& events, Channels channels, double from_s, double to_s) {
  int times = 0;
  bool on = false;
  for (const LampEvent& e : events) {
    const bool now = (e.lit & channels) != 0;
    if (now && !on && to_seconds(e.at) >= from_s && to_seconds(e.at) < to_s) ++times;
    on = now;
  }
  return times;
}

inline FaultSetting fault(std::string kind, std::map<std::string, std::string> words = {},
                          std::map<std::string, double> numbers = {}) {
  return {std::move(kind), std::move(words), std::move(numbers)};
}

// What the constructor says about this behaviour; "" when it takes it.
inline std::string refusal(const Behaviour& behaviour, const Gauge& gauge = test_gauge()) {
  try {
    const SimulatedUnit unit(gauge, behaviour, gauge);
  } catch (const std::invalid_argument& e) {
    return e.what();
  }
  return "";
}

}  // namespace tachproof::test
