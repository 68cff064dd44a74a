#include "core/judge/allowance.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace tachproof {
namespace {

// The largest change from one entry to the next, round the ring.
double worst_step(const std::vector<double>& ring) {
  double worst = 0;
  for (std::size_t i = 0; i < ring.size(); ++i)
    worst = std::max(worst, std::abs(ring[(i + 1) % ring.size()] - ring[i]));
  return worst;
}

double rms_step(const std::vector<double>& ring) {
  double sum = 0;
  for (std::size_t i = 0; i < ring.size(); ++i) {
    const double step = ring[(i + 1) % ring.size()] - ring[i];
    sum += step * step;
  }
  return ring.empty() ? 0 : std::sqrt(sum / static_cast<double>(ring.size()));
}

}  // namespace

ReadingNoise reading_noise(const Noise& noise, const Gauge& gauge, double rpm) {
  const double pulses_per_s = gauge.pulses_per_rev * rpm / 60;
  if (pulses_per_s <= 0) return {noise.wander_rpm, 0};
  const double averaged =
      std::clamp(std::floor(0.5 * to_seconds(gauge.tolerance.response_to) * pulses_per_s), 1.0, 4.0);
  const double jitter_share = std::numbers::sqrt2 * noise.jitter_us * 1e-6 * pulses_per_s / averaged;
  const double replay_share = rms_step(noise.replay) / averaged;
  ReadingNoise out;
  out.random_rpm = std::hypot(noise.wander_rpm, rpm * std::hypot(jitter_share, replay_share));
  out.pattern_rpm = rpm * worst_step(noise.firing) / 100 / averaged;
  return out;
}

double noise_allowance_rpm(const Noise& noise, const Gauge& gauge, double rpm) {
  if (noise.quiet()) return 0;
  const ReadingNoise reading = reading_noise(noise, gauge, rpm);
  return 4 * reading.random_rpm + reading.pattern_rpm;
}

double noise_allowance_rpm(const Noise& noise, const Gauge& gauge) {
  double most = 0;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b)
    most = std::max(most, noise_allowance_rpm(noise, gauge, gauge.windows[b].from_rpm));
  return most;
}

}  // namespace tachproof
