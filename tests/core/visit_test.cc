#include "core/judge/visit.h"

#include <gtest/gtest.h>

#include <random>

namespace tachproof {
namespace {

// 4 ms apart, as a gauge that may take 100 ms has them.
Visit ramp(double rate, double noise_rpm, std::uint64_t seed = 1) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal(0, 1);
  Visit v;
  v.direction = rate > 0 ? Direction::rising : Direction::falling;
  v.spacing_s = 0.004;
  v.rpm_noise = noise_rpm;
  for (std::size_t k = 0; k < Visit::samples; ++k)
    v.rpm_before[k] = 3000 - rate * v.spacing_s * static_cast<double>(k) + noise_rpm * normal(random);
  return v;
}

TEST(Visit, NoiseOfTheRpmDoesNotBendARamp) {
  // From one sample to the next the rate is off by 90 rpm/s; a line tells it.
  int kept = 0;
  for (std::uint64_t seed = 1; seed <= 200; ++seed)
    if (ramp(40, 0.25, seed).keeps_its_rate(0, 0.120)) ++kept;
  EXPECT_GE(kept, 196);
}

TEST(Visit, ARampThatEndsInsideTheResponseIsLeftOutUnderNoiseToo) {
  int kept = 0;
  for (std::uint64_t seed = 1; seed <= 200; ++seed) {
    Visit v = ramp(150, 0.25, seed);
    // Held for the last 60 ms before the change.
    for (std::size_t k = 0; k < 15; ++k) v.rpm_before[k] = v.rpm_before[15];
    if (v.keeps_its_rate(0, 0.120)) ++kept;
  }
  EXPECT_LE(kept, 2);
}

TEST(Visit, AScriptedCornerIsSeenToTheSample) {
  Visit v = ramp(150, 0);
  EXPECT_TRUE(v.keeps_its_rate(0, 0.120));
  v.rpm_before[0] = v.rpm_before[1] = v.rpm_before[2];
  EXPECT_FALSE(v.keeps_its_rate(0, 0.120));
}

TEST(Visit, TheRateOfANoisyRampIsThatOfALineThroughIt) {
  // Through 33 samples 4 ms apart of 0.25 rpm: u = 0.25 / (4 ms sqrt(33 (33^2 - 1) / 12))
  // = 1.1 rpm/s; 4 of them.
  for (std::uint64_t seed = 1; seed <= 50; ++seed) EXPECT_NEAR(ramp(-10, 0.25, seed).slope(0.030), -10, 4.6);
}

}  // namespace
}  // namespace tachproof
