#include "bench/rigs/simulated/unit_settings.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace tachproof {
namespace {

void require(const char* name, const std::optional<double>& value, double lowest, double highest) {
  if (!value || (*value >= lowest && *value <= highest)) return;  // false for nan
  throw std::invalid_argument(
      fmt::format("The simulated unit's {} is {}; it must be {} to {}.", name, *value, lowest, highest));
}

void check_ranges(const Behaviour& b) {
  require("response_ms", b.response_ms, 0, 60'000);
  require("averaging_pulses", b.averaging_pulses, 1, 10'000);
  require("averaging_ms", b.averaging_ms, 0, 60'000);
  require("update_hz", b.update_hz, 0, 100'000);
  require("resolution_rpm", b.resolution_rpm, 0, 10'000);
  require("timer_hz", b.timer_hz, 1'000, 1e9);
  require("signal_lost_ms", b.signal_lost_ms, 1, 3'600'000);
  require("boot_ms", b.boot_ms, 0, 3'600'000);
  require("lowest_v", b.lowest_v, 0, 60);
  require("holds_ms", b.holds_ms, 0, 60'000);
  require("dim", b.dim, 0, 1);
  require("dim_hz", b.dim_hz, 1, 100'000);
  if (b.averaging_pulses && b.averaging_ms)
    throw std::invalid_argument(
        "The simulated unit has both averaging_pulses and averaging_ms; it takes one of them.");
}

// The lowest falling threshold, wherever a button may put it.
double lowest_falling_rpm(const Gauge& gauge) {
  double lowest = gauge.falling_rpm(1);
  for (const Button& button : gauge.buttons)
    if (const auto* take = std::get_if<TakeRpm>(&button.does))
      lowest = std::min(lowest, with_boundary_at(gauge, take->boundary, take->lowest_rpm).falling_rpm(1));
  return std::max(lowest, 1.0);
}

// All in ms. The slowest pulses that matter, and the room the tolerance gives.
struct Room {
  double from = 0, to = 0;
  double period = 0;   // at the lowest falling threshold
  double slowest = 0;  // the same wherever a button may put that
  double span() const { return to - from; }
};

Room room_of(const Gauge& gauge) {
  Room room{to_ms(gauge.tolerance.response_from), to_ms(gauge.tolerance.response_to), 0};
  if (gauge.boundaries() > 0) {
    room.period = 60e3 / (gauge.pulses_per_rev * std::max(gauge.falling_rpm(1), 1.0));
    room.slowest = 60e3 / (gauge.pulses_per_rev * lowest_falling_rpm(gauge));
  }
  return room;
}

// Below two periods at the lowest threshold a present signal could seem lost;
// a little more leaves room for one missing pulse.
constexpr double fewest_lost_periods = 2.2;
constexpr double most_lost_periods = 3;

double default_update_hz(const Room& room) {
  const double wanted = room.span() > 0 ? 10e3 / room.span() : 1'000;  // a tenth of the room
  return std::clamp(wanted, 100.0, 1'000.0);
}

double default_averaging_pulses(const Room& room, double update_ms) {
  for (int pulses = 4; pulses > 1; --pulses)
    if (update_ms + (pulses + fewest_lost_periods) * room.period <= 0.8 * room.span()) return pulses;
  return 1;
}

double default_signal_lost_ms(const Room& room, const Tolerance& tolerance, double before_ms) {
  const double at_most = 0.6 * to_ms(tolerance.signal_lost);
  if (room.period == 0) return std::max(at_most, 1.0);
  // A healthy unit never loses a signal that is there, even where that takes
  // longer than the tolerance would like.
  const double fits = 0.9 * room.span() - before_ms;
  return std::max(std::min({fits, most_lost_periods * room.period, at_most}),
                  fewest_lost_periods * room.slowest);
}

double default_response_ms(const Room& room, double rest_ms) {
  constexpr double usual = 20;
  const double latest = room.to - rest_ms - 0.05 * room.span();
  if (latest <= room.from) return room.from;
  const double response = std::clamp(usual, std::min(room.from + 0.1 * room.span(), latest), latest);
  return std::max(std::floor(response * 10) / 10, room.from);  // a round figure to report
}

double default_resolution_rpm(const Tolerance& tolerance) {
  double resolution = 1;
  while (resolution > tolerance.rpm / 2 && resolution > 0.01) resolution /= 2;
  return resolution > tolerance.rpm / 2 ? 0 : resolution;
}

// One tick of the timer over the averaged span is rpm * tick / span.
double default_timer_hz(const Gauge& gauge, const UnitSettings& s) {
  if (gauge.boundaries() == 0) return 1e6;
  const double rpm = gauge.rising_rpm(gauge.boundaries());
  const double period_s = 60 / (gauge.pulses_per_rev * rpm);
  const double span_s = s.averaging > 0 ? std::max(to_seconds(s.averaging) - period_s, period_s)
                                        : static_cast<double>(s.averaging_pulses) * period_s;
  double hz = 1e6;
  while (rpm / (hz * span_s) > gauge.tolerance.rpm / 8 && hz < 512e6) hz *= 2;
  return hz;
}

Nanos from_ms(double ms) { return std::llround(ms * 1e6); }

void set_power(UnitSettings& s, const Behaviour& behaviour) {
  const std::optional<PowerUp>& power_up = s.gauge.power_up;
  if (behaviour.boot_ms)
    s.boot_from = s.boot_to = from_ms(*behaviour.boot_ms);
  else if (power_up)
    s.boot_from = power_up->boot_from, s.boot_to = power_up->boot_to;
  s.boots_first = !power_up && s.boot_to > 0;
  constexpr double usual_v = 6;
  s.lowest_v =
      behaviour.lowest_v.value_or(s.gauge.supply ? std::min(usual_v, s.gauge.supply->lowest_v) : usual_v);
  s.holds = from_ms(behaviour.holds_ms.value_or(to_ms(s.holds)));
}

}  // namespace

UnitSettings healthy_settings(const Gauge& gauge, const Behaviour& behaviour) {
  check_ranges(behaviour);
  if (gauge.windows.empty()) throw std::invalid_argument("The simulated unit's gauge has no windows.");

  const Room room = room_of(gauge);
  UnitSettings s;
  s.gauge = gauge;
  s.update_hz = behaviour.update_hz.value_or(default_update_hz(room));
  const double update_ms = s.update_hz > 0 ? 1e3 / s.update_hz : 0;

  double averaging_ms = behaviour.averaging_ms.value_or(0);
  s.averaging = from_ms(averaging_ms);
  if (s.averaging == 0) {
    s.averaging_pulses = std::llround(behaviour.averaging_pulses.value_or(
        behaviour.averaging_ms ? 1 : default_averaging_pulses(room, update_ms)));
    averaging_ms = static_cast<double>(s.averaging_pulses) * room.period;
  }
  averaging_ms = std::max(averaging_ms, room.period);

  const double before_ms = update_ms + averaging_ms;
  const double lost_ms =
      behaviour.signal_lost_ms.value_or(default_signal_lost_ms(room, gauge.tolerance, before_ms));
  s.signal_lost = from_ms(lost_ms);
  // The wait for the next pulse ends, at the latest, when the signal counts as lost.
  const double wait_ms = std::min(lost_ms, most_lost_periods * room.period);
  s.response = from_ms(behaviour.response_ms.value_or(default_response_ms(room, before_ms + wait_ms)));

  s.resolution_rpm = behaviour.resolution_rpm.value_or(default_resolution_rpm(gauge.tolerance));
  s.timer_hz = behaviour.timer_hz.value_or(default_timer_hz(gauge, s));
  set_power(s, behaviour);
  s.dim = behaviour.dim.value_or(1);
  s.dim_hz = behaviour.dim_hz.value_or(400);
  return s;
}

UnitReading unit_reading(const Gauge& gauge, const Behaviour& behaviour) {
  const UnitSettings settings = healthy_settings(gauge, behaviour);
  auto pulses = static_cast<double>(settings.averaging_pulses);
  if (settings.averaging > 0 && gauge.boundaries() > 0)
    pulses =
        std::floor(to_seconds(settings.averaging) * gauge.pulses_per_rev * gauge.windows[1].from_rpm / 60);
  UnitReading reading;
  reading.averaging_pulses =
      static_cast<int>(std::clamp(pulses, 1.0, static_cast<double>(UnitReading::most_averaged)));
  reading.update_hz = settings.update_hz;
  reading.resolution_rpm = settings.resolution_rpm;
  reading.timer_hz = settings.timer_hz;
  return reading;
}

}  // namespace tachproof
