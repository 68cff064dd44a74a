// Noise models recovered from pulse trains that were made with known ones.
#include "core/recording/noise_fit.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <numbers>
#include <vector>

#include "core/base/random.h"
#include "core/base/spectrum.h"
#include "core/recording/firing_pattern.h"
#include "core/signal/pulse_train.h"
#include "tests/core/trains.h"

namespace tachproof {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

std::vector<Nanos> recording(const Noise& noise, std::uint64_t seed, double rpm = 3720, double seconds = 60,
                             double ppr = 3) {
  const std::vector<Step> steps = {Hold{rpm, from_seconds(seconds)}};
  return test::edges_of(Profile(steps), ppr, noise, seed);
}

Noise rough() {
  Noise noise;
  noise.jitter_us = 20;
  noise.wander_rpm = 3;
  noise.wander_s = 0.4;
  noise.firing = {0, 0.4, -0.4};
  return noise;
}

bool holds(const Interval& interval, double value) { return interval.low <= value && value <= interval.high; }

TEST(NoiseFit, FindsEveryPartOfTheModel) {
  Noise noise = rough();
  noise.missing = 1e-3;
  noise.doubled = 5e-4;
  noise.doubled_after_us = 250;
  const NoiseFit fit = fit_noise(recording(noise, 3), {});
  EXPECT_THAT(fit.reasons, IsEmpty());
  EXPECT_TRUE(fit.fits);
  EXPECT_EQ(fit.pulses_per_rev, 3);
  EXPECT_NEAR(fit.mean_rpm, 3720, 2);
  EXPECT_NEAR(fit.noise.jitter_us, 20, 1);
  EXPECT_NEAR(fit.noise.wander_rpm, 3, 0.8);
  EXPECT_NEAR(fit.noise.wander_s, 0.4, 0.2);
  ASSERT_EQ(fit.noise.firing.size(), 3u);
  EXPECT_NEAR(fit.noise.firing[0], 0, 0.03);
  EXPECT_NEAR(fit.noise.firing[1], 0.4, 0.03);
  EXPECT_NEAR(fit.noise.firing[2], -0.4, 0.03);
  EXPECT_TRUE(holds(fit.missing, 1e-3));
  EXPECT_TRUE(holds(fit.doubled, 5e-4));
  EXPECT_NEAR(fit.noise.doubled_after_us, 250, 30);
  EXPECT_THAT(fit.notes,
              ElementsAre("the firing pattern repeats after 3 pulses, taken as one revolution. If these are "
                          "two revolutions, as in a four-stroke engine, give --ppr 1.5"));
}

TEST(NoiseFit, IntervalsHoldTheTruthAsOftenAsTheySay) {
  const int recordings =
      std::getenv("TACHPROOF_RECORDINGS") ? std::atoi(std::getenv("TACHPROOF_RECORDINGS")) : 12;
  const Noise noise = rough();
  int jitter = 0, wander = 0, tau = 0, firing = 0, fits = 0;
  for (int i = 0; i < recordings; ++i) {
    const NoiseFit fit = fit_noise(recording(noise, static_cast<std::uint64_t>(100 + i), 3720, 30), {3, 1});
    fits += fit.fits;
    jitter += holds(fit.jitter_us, 20);
    wander += holds(fit.wander_rpm, 3);
    tau += holds(fit.wander_s, 0.4);
    for (std::size_t j = 0; j < fit.firing.size(); ++j) firing += holds(fit.firing[j], noise.firing[j]);
  }
  const double out = 0.05 * recordings + 3 * std::sqrt(0.05 * recordings);
  EXPECT_GE(fits, 0.9 * recordings);
  EXPECT_GE(jitter, recordings - out);
  EXPECT_GE(wander, recordings - out);
  EXPECT_GE(tau, recordings - out);
  EXPECT_GE(firing, 3 * (recordings - out));
}

TEST(NoiseFit, WhatIsNotThereIsZeroWithAnUpperLimit) {
  Noise jitter;
  jitter.jitter_us = 15;
  const NoiseFit still = fit_noise(recording(jitter, 5, 3720, 30), {3, 1});
  EXPECT_TRUE(still.fits);
  EXPECT_EQ(still.noise.wander_rpm, 0);
  EXPECT_EQ(still.noise.wander_s, 0);
  EXPECT_EQ(still.wander_rpm.low, 0);
  EXPECT_GT(still.wander_rpm.high, 0);
  EXPECT_LT(still.wander_rpm.high, 1);
  EXPECT_THAT(still.noise.firing, IsEmpty());
  EXPECT_EQ(still.noise.missing, 0);
  EXPECT_NEAR(still.missing.high, 3.689 / 5580, 2e-5);

  Noise wander;
  wander.wander_rpm = 5;
  wander.wander_s = 0.3;
  const NoiseFit smooth = fit_noise(recording(wander, 6, 3720, 30), {3, 1});
  EXPECT_LT(smooth.noise.jitter_us, 0.5);
  EXPECT_TRUE(holds(smooth.wander_rpm, 5));
}

TEST(NoiseFit, TheRecordersStepsAreNotTakenForJitter) {
  Noise noise;
  noise.jitter_us = 5;
  std::vector<Nanos> edges = recording(noise, 8, 3720, 30);
  constexpr Nanos step = 10 * ns_per_us;
  for (Nanos& edge : edges) edge -= edge % step;
  EXPECT_NEAR(fit_noise(edges, {3, step}).noise.jitter_us, 5, 0.3);
}

TEST(NoiseFit, ASlowDriftIsTakenOff) {
  const std::vector<Step> steps = {Hold{3700, ns_per_ms}, RampByTime{3760, 60 * ns_per_s}};
  const NoiseFit fit = fit_noise(test::edges_of(Profile(steps), 3, rough(), 9), {3, 1});
  EXPECT_TRUE(fit.fits);
  EXPECT_NEAR(fit.noise.wander_rpm, 3, 0.8);
}

TEST(NoiseFit, SaysWhyARecordingDoesNotDo) {
  EXPECT_THAT(fit_noise(recording(rough(), 3, 3720, 2), {3, 1}).reasons,
              ElementsAre("the recording is too short: 371 pulses; record at least 500"));
  Noise slow = rough();
  slow.wander_s = 1.5;
  const NoiseFit shorter = fit_noise(recording(slow, 4, 3720, 24), {3, 1});
  EXPECT_FALSE(shorter.fits);
  ASSERT_FALSE(shorter.reasons.empty());
  EXPECT_THAT(shorter.reasons.front(), HasSubstr("the recording is too short"));

  Noise plain;
  plain.jitter_us = 10;
  const NoiseFit nameless = fit_noise(recording(plain, 4), {});
  EXPECT_FALSE(nameless.fits);
  EXPECT_TRUE(std::isnan(nameless.mean_rpm));
  EXPECT_THAT(
      nameless.reasons,
      ElementsAre("no firing pattern repeats, so the pulses per revolution cannot be found: give --ppr"));

  const std::vector<Step> ramp = {RampByTime{2000, 100 * ns_per_ms}, RampByTime{4000, 20 * ns_per_s}};
  const NoiseFit fast = fit_noise(test::edges_of(Profile(ramp), 3, plain, 4), {3, 1});
  EXPECT_FALSE(fast.fits);
  ASSERT_FALSE(fast.reasons.empty());
  EXPECT_THAT(fast.reasons.front(), HasSubstr("hold it steady and record again"));
}

TEST(NoiseFit, ASwingThatIsNoneOfTheModelsDoesNotFit) {
  const std::vector<Step> steps = {Wave{3720, 60, 400 * ns_per_ms, 60 * ns_per_s}};
  Noise noise;
  noise.jitter_us = 5;
  const NoiseFit fit = fit_noise(test::edges_of(Profile(steps), 3, noise, 4), {3, 1});
  EXPECT_FALSE(fit.fits);
  ASSERT_FALSE(fit.reasons.empty());
  EXPECT_THAT(fit.reasons.front(), HasSubstr("the model does not fit"));
}

TEST(NoiseFit, AllanDeviationsOfTheModelAreThoseSeen) {
  const NoiseFit fit = fit_noise(recording(rough(), 12), {3, 1});
  ASSERT_GT(fit.allan.size(), 8u);
  for (const NoiseFit::Spread& s : fit.allan)
    if (s.span_s < 1) {
      EXPECT_NEAR(s.seen / s.modelled, 1, 0.25) << s.span_s;
    }
}

TEST(FiringPattern, IsFoundAtItsShortestRepeat) {
  for (const std::size_t cycle : {2u, 4u, 5u, 6u, 8u}) {
    Noise noise;
    noise.jitter_us = 10;
    for (std::size_t j = 0; j < cycle; ++j)
      noise.firing.push_back((j == 0 ? 0.6 : 0.0) - 0.6 / static_cast<double>(cycle));
    const NoiseFit fit = fit_noise(recording(noise, cycle, 3000, 20, 4), {4, 1});
    EXPECT_EQ(fit.noise.firing.size(), cycle);
  }
}

TEST(FiringPattern, ChanceMakesHardlyAny) {
  int found = 0;
  for (std::uint64_t seed = 0; seed < 60; ++seed) {
    Random random(seed);
    std::vector<double> phase(3000);
    for (double& x : phase) x = 1e-5 * random.normal();
    found += !find_firing_pattern(phase, 0.005).share.empty();
  }
  EXPECT_LE(found, 3);
}

TEST(Spectrum, ASineShowsAsItsAmplitude) {
  std::vector<double> x;
  for (int i = 0; i < 4096; ++i) x.push_back(5 + 3 * std::sin(2 * std::numbers::pi * i / 8));
  const std::vector<double> lines = amplitude_spectrum(x, 256);
  ASSERT_EQ(lines.size(), 129u);
  EXPECT_NEAR(lines[32], 3, 1e-9);
  EXPECT_NEAR(lines[0], 0, 1e-9);
  EXPECT_NEAR(lines[60], 0, 1e-9);
  EXPECT_THAT(amplitude_spectrum(x, 8192), IsEmpty());
}

}  // namespace
}  // namespace tachproof
