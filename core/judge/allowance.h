// What scripted noise adds to a gauge's tolerance.
#pragma once

#include "core/gauge/gauge.h"
#include "core/signal/noise.h"

namespace tachproof {

// Standard deviation, in rpm, of what a unit reads at `rpm` under this noise,
// for a unit that averages four pulses or, where pulses are slow, as many as
// come within half its slowest allowed response: wander as it is, jitter
// divided by the averaging. A firing pattern adds its worst step, undivided by
// chance. Common practice, no published source.
struct ReadingNoise {
  double random_rpm = 0;   // standard deviation
  double pattern_rpm = 0;  // bound
};
ReadingNoise reading_noise(const Noise& noise, const Gauge& gauge, double rpm);

// 4 standard deviations and the pattern: 1 in 16,000 readings lies outside.
double noise_allowance_rpm(const Noise& noise, const Gauge& gauge, double rpm);
// The largest at any boundary.
double noise_allowance_rpm(const Noise& noise, const Gauge& gauge);

}  // namespace tachproof
