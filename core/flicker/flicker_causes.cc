#include "core/flicker/flicker_causes.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/base/rate_test.h"
#include "core/base/text.h"
#include "core/flicker/flicker_reading.h"

namespace tachproof {

std::string_view word(FlickerCause cause) {
  switch (cause) {
    case FlickerCause::none: return "none";
    case FlickerCause::missing_pulses: return "missing-pulses";
    case FlickerCause::firing_pattern: return "firing-pattern";
    case FlickerCause::noise: return "noise";
    case FlickerCause::unit: return "unit";
  }
  return "none";
}

double firing_swing_rpm(const Noise& noise, const UnitReading& unit, double rpm) {
  const std::size_t cycle = noise.firing.size();
  if (cycle == 0) return 0;
  const std::size_t pulses = flicker::averaged(unit);
  double lowest = std::numeric_limits<double>::infinity(), highest = -lowest;
  for (std::size_t now = 0; now < cycle; ++now) {
    const std::size_t then = (now + cycle - pulses % cycle) % cycle;
    const double share = (noise.firing[then] - noise.firing[now]) / 100 / static_cast<double>(pulses);
    lowest = std::min(lowest, rpm * share);
    highest = std::max(highest, rpm * share);
  }
  return highest - lowest;
}

FlickerReason explain_prediction(const Noise& noise, const UnitReading& unit, double pulses_per_rev,
                                 double rpm, const Flicker& predicted, double limit_per_min) {
  const double broken = disturbances_per_min(noise, pulses_per_rev, rpm);
  const double rate = predicted.changes_per_min();
  const std::string width = decimal(predicted.width_rpm, 1) + " rpm";
  if (broken > limit_per_min && broken >= rate)
    return {FlickerCause::missing_pulses, "missing and doubled pulses of the signal alone make " +
                                              decimal(broken, 2) +
                                              " lamp changes per minute, whatever the deadband"};
  if (rate + broken <= limit_per_min)
    return {FlickerCause::none, decimal(rate + broken, 2) +
                                    " lamp changes per minute stay under the limit of " +
                                    decimal(limit_per_min, 2)};
  const double swing = firing_swing_rpm(noise, unit, rpm);
  if (swing > 0 && swing >= predicted.width_rpm)
    return {FlickerCause::firing_pattern, "the firing pattern moves the unit's average of " +
                                              std::to_string(flicker::averaged(unit)) + " pulses by " +
                                              decimal(swing, 1) + " rpm, more than the deadband of " + width +
                                              ". An average of whole engine cycles, a multiple of " +
                                              std::to_string(noise.firing.size()) + " pulses, cancels it"};
  return {FlickerCause::noise,
          "jitter and wander of the signal move the reading by more than the deadband of " + width +
              "; that makes " + decimal(rate, 2) + " lamp changes per minute"};
}

FlickerReason explain_seen(const Noise& noise, const UnitReading& unit, double pulses_per_rev, double rpm,
                           const Flicker& predicted, double changes, double minutes, double limit_per_min) {
  constexpr double confidence = 0.95;
  const double broken = disturbances_per_min(noise, pulses_per_rev, rpm);
  const double sound = predicted.upper_per_min(confidence) + broken;
  // Half as many cycles as changes, each worth what the prediction's are.
  const double least =
      2 * predicted.dispersion * one_sided_lower(changes / 2 / predicted.dispersion, confidence) / minutes;
  const double rate = changes / minutes;
  if (rate <= limit_per_min || changes == 0)
    return {FlickerCause::none,
            decimal(rate, 2) + " lamp changes per minute, within the limit of " + decimal(limit_per_min, 2)};
  if (least > sound)
    return {FlickerCause::unit, decimal(rate, 2) + " lamp changes per minute, at least " + decimal(least, 2) +
                                    " with 95 % confidence. A sound unit makes at most " + decimal(sound, 2) +
                                    " with this signal, so the unit itself flickers"};
  FlickerReason reason = explain_prediction(noise, unit, pulses_per_rev, rpm, predicted, limit_per_min);
  if (reason.cause == FlickerCause::none)
    reason.sentence = decimal(rate, 2) +
                      " lamp changes per minute are no proof against the unit: a sound one may make " +
                      decimal(sound, 2) + ", and chance explains the rest";
  return reason;
}

}  // namespace tachproof
