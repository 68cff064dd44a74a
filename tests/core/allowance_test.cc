// What scripted noise makes of a reading: common practice, no published source. The sums are
// worked by hand.
#include "core/judge/allowance.h"

#include <gtest/gtest.h>

#include <cmath>

#include "tests/core/gauges.h"

namespace tachproof {
namespace {

TEST(Allowance, QuietSignalsGetNone) {
  EXPECT_EQ(noise_allowance_rpm(Noise(), test::small_gauge(), 3000), 0);
}

TEST(Allowance, WanderIsReadAsItIsAndCountsFourTimes) {
  Noise noise;
  noise.wander_rpm = 2;
  EXPECT_DOUBLE_EQ(reading_noise(noise, test::small_gauge(), 3000).random_rpm, 2);
  EXPECT_DOUBLE_EQ(noise_allowance_rpm(noise, test::small_gauge(), 3000), 8);
}

// 2 pulses a revolution at 3000 rpm: 100 pulses/s, four of them averaged. Two edges of 50 us: 3000 rpm x
// sqrt 2 x 50e-6 x 100 / 4 = 5.3 rpm.
TEST(Allowance, JitterIsDividedByTheAveraging) {
  Noise noise;
  noise.jitter_us = 50;
  EXPECT_NEAR(reading_noise(noise, test::small_gauge(), 3000).random_rpm, 3000 * std::sqrt(2.0) * 5e-3 / 4,
              1e-9);
}

// At 300 rpm: 10 pulses/s, and half of 100 ms has not one of them: nothing is averaged.
TEST(Allowance, SlowPulsesAreNotAveragedBeyondTheResponse) {
  Noise noise;
  noise.jitter_us = 50;
  EXPECT_NEAR(reading_noise(noise, test::small_gauge(), 300).random_rpm, 300 * std::sqrt(2.0) * 5e-4, 1e-9);
}

// In per cent of a period: from +2 to -2 the worst step is 4 %, over four pulses 1 % of 3000 rpm.
TEST(Allowance, AFiringPatternAddsItsWorstStep) {
  Noise noise;
  noise.firing = {2, -2};
  EXPECT_DOUBLE_EQ(reading_noise(noise, test::small_gauge(), 3000).pattern_rpm, 30);
  EXPECT_DOUBLE_EQ(noise_allowance_rpm(noise, test::small_gauge(), 3000), 30);
}

TEST(Allowance, OfAGaugeIsThatOfItsWorstBoundary) {
  Noise noise;
  noise.jitter_us = 50;
  const Gauge gauge = test::small_gauge();
  EXPECT_DOUBLE_EQ(noise_allowance_rpm(noise, gauge), noise_allowance_rpm(noise, gauge, 5000));
}

}  // namespace
}  // namespace tachproof
