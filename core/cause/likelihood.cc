#include "core/cause/likelihood.h"

#include <algorithm>
#include <cmath>

namespace tachproof {
namespace {

using Kind = Fault::Kind;

constexpr double pressed_too = 3;  // for each press that went wrong as well
constexpr double a_size_more = 3;  // what a number that is free to choose must gain
// What may be anything proves nothing: twice the logarithm of the share that is left would be its chi squared
// if every lamp and moment counted once; they hang together, so it counts five times.
constexpr double unsaid_too = 10;
constexpr double a_gap_more = 3;    // each window that may have stayed too long is a choice as well
constexpr double wide_too = 2;      // for what a noisy reading lets every threshold be off by, in tolerances
constexpr double a_rough_more = 6;  // and one of which so little is known that it can be nearly anything

// How much likelier a kind is than another that fits as well: experience, no source. In chi squared.
double surprise(const Fault& fault) {
  switch (fault.kind) {
    case Kind::settings_of: return -4;
    case Kind::no_power:
    case Kind::no_signal: return -2;
    case Kind::anchor_moved:
    case Kind::deadband_missing:
    case Kind::deadband_side:
    case Kind::blink_rate:
    case Kind::blink_duty:
    case Kind::slow_response: return 0;
    // Nobody sets another number than a whole or a half one.
    case Kind::wrong_pulses_per_rev:
      return fault.size && std::abs(2 * *fault.size - std::round(2 * *fault.size)) < 1e-9 ? 0 : 4;
    case Kind::lamp_dark:
    case Kind::stuck_on: return fault.channel ? 0.6 : 0.5;
    case Kind::wrong_colour: return fault.window ? 2 : 0.8;
    case Kind::blink_absent: return fault.window ? 1.5 : 0.7;
    case Kind::intermittent_lamp: return 8;
    case Kind::freeze:
    case Kind::reset: return 6;
    case Kind::slow_filter: return 3;
    case Kind::noisy_reading: return 4;
    case Kind::dropped_updates: return 8;
    default: return 1;
  }
}

}  // namespace

double unlikeliness(const Trial& trial, const Tolerance& tolerance) {
  const Hypothesis& h = trial.hypothesis;
  double score = trial.fit;
  for (std::size_t i = 0; i < h.faults.size(); ++i) {
    score += surprise(h.faults[i]);
    if (h.faults[i].size) score += a_size_more;
    if (unit_of(h.faults[i].kind) == "rpm" && h.u[i] > 3 * tolerance.rpm) score += a_rough_more;
  }
  score += unsaid_too * -std::log(std::max(1 - trial.unsaid, 1e-6));
  score += wide_too * std::log1p(4 * h.noise.wander_rpm / std::max(tolerance.rpm, 0.1));
  score += a_gap_more * static_cast<double>(h.gaps);
  return score + pressed_too * static_cast<double>(trial.pressed);
}

}  // namespace tachproof
