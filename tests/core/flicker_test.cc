// Flicker by simulation, against a plain trigger, closed forms and itself.
#include "core/flicker/flicker.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

#include "core/flicker/flicker_causes.h"
#include "core/flicker/level_crossing.h"
#include "core/flicker/normal_lanes.h"
#include "tests/core/statistics.h"

namespace tachproof {
namespace {

FlickerTally all_of(const FlickerSetup& setup) {
  FlickerTally all(setup);
  for (std::uint64_t c = 0; c < setup.chunks; ++c) all.add(flicker_chunk(setup, c));
  return all;
}

// A whole number of standard deviations would hide an error of sign.
void expect_rate(const Flicker& seen, double changes_per_min, double share = 0) {
  const double cycles = changes_per_min * seen.minutes / 2;
  EXPECT_NEAR(seen.cycles, cycles, 3.5 * std::sqrt(cycles * seen.dispersion) + share * cycles)
      << "width " << seen.width_rpm << ", dispersion " << seen.dispersion;
}

TEST(NormalLanes, AreNormalAndIndependent) {
  NormalLanes normals(3, 1);
  std::vector<float> block(1 << 20);
  normals.fill(block);
  std::vector<double> x(block.begin(), block.end());
  EXPECT_NEAR(test::mean(x), 0, 4e-3);
  EXPECT_NEAR(test::sd(x), 1, 3e-3);
  for (const std::size_t lag : {1u, 15u, 16u, 17u, 32u})
    EXPECT_NEAR(test::autocorrelation(x, lag), 0, 4e-3) << lag;
  // Shares beyond k standard deviations: 2 (1 - Phi(k)).
  for (const double k : {0.5, 1.0, 2.0, 3.0, 4.0}) {
    const double share = std::erfc(k / std::sqrt(2.0)), n = static_cast<double>(x.size());
    const auto beyond = std::count_if(x.begin(), x.end(), [&](double v) { return std::abs(v) > k; });
    EXPECT_NEAR(static_cast<double>(beyond), share * n, 4 * std::sqrt(share * n)) << k;
  }
}

TEST(NormalLanes, AreTheSameBitsWithEveryInstructionSet) {
  std::vector<float> plain(4096);
  NormalLanes(9, 4, Instructions::baseline).fill(plain);
  for (const Instructions set : {Instructions::avx2, Instructions::avx512}) {
    if (!available(set)) continue;
    std::vector<float> block(4096);
    NormalLanes(9, 4, set).fill(block);
    EXPECT_EQ(block, plain);
  }
}

FlickerSetup jitter_only() {
  FlickerSetup setup;
  setup.noise.jitter_us = 20;
  setup.pulses_per_rev = 3;
  setup.unit = {8, 0, 0, 0};
  setup.places_rpm = {3720, 7600};
  setup.steps = 1 << 14;
  setup.chunks = 4;
  setup.seed = 5;
  return setup;
}

TEST(Flicker, JitterAloneIsTheClosedFormAtEveryWidth) {
  // An update in 20 pulses: readings of 8 share no edge, and the form is exact.
  FlickerSetup setup = jitter_only();
  setup.unit.update_hz = 186.0 / 20;
  setup.places_rpm = {3720};
  setup.steps = 1 << 18;
  setup.step_rpm = 0.25;
  setup.widest_rpm = 14;
  const FlickerTally all = all_of(setup);
  for (std::size_t w = 1; w < setup.widths(); w += 6)
    expect_rate(all.held(0, w, 0), closed_form_per_min(setup.noise, setup.unit, 3, 3720, setup.width_rpm(w)));
}

TEST(Flicker, ReadingsThatShareEdgesAreNearTheClosedFormWhileTheDeadbandIsNarrow) {
  const FlickerSetup setup = jitter_only();
  const FlickerTally all = all_of(setup);
  int compared = 0;
  for (std::size_t place = 0; place < 2; ++place)
    for (std::size_t w = 1; w < setup.widths(); ++w) {
      const double expected =
          closed_form_per_min(setup.noise, setup.unit, 3, setup.places_rpm[place], setup.width_rpm(w));
      if (!std::isfinite(expected)) continue;
      expect_rate(all.held(place, w, 0), expected, 0.01);
      ++compared;
    }
  EXPECT_GE(compared, 10);
}

TEST(Flicker, WithoutADeadbandTheCosineFormulaHoldsForMixedNoise) {
  FlickerSetup setup = jitter_only();
  setup.noise.wander_rpm = 3;
  setup.noise.wander_s = 0.4;
  for (const int pulses : {1, 2, 4})
    for (const double update_hz : {0.0, 100.0}) {
      setup.unit.averaging_pulses = pulses;
      setup.unit.update_hz = update_hz;
      const FlickerTally all = all_of(setup);
      expect_rate(all.held(0, 0, 0), closed_form_per_min(setup.noise, setup.unit, 3, 3720, 0), 0.005);
    }
}

// Rice's rate bounds what no closed form gives, and is near it while the deadband
// is narrow beside what one reading differs from the next.
TEST(Flicker, IsNeverAboveTheLevelCrossings) {
  FlickerSetup setup = jitter_only();
  setup.noise.wander_rpm = 3;
  setup.noise.wander_s = 0.4;
  setup.places_rpm = {3720};
  for (const int pulses : {1, 4, 8})
    for (const double update_hz : {0.0, 60.0}) {
      setup.unit.averaging_pulses = pulses;
      setup.unit.update_hz = update_hz;
      const FlickerTally all = all_of(setup);
      for (std::size_t w = 0; w < setup.widths(); ++w) {
        const Flicker seen = all.held(0, w, 0);
        const double bound =
            crossings_per_min(setup.noise, setup.unit, 3, 3720, setup.width_rpm(w)) * seen.minutes / 2;
        EXPECT_LE(seen.cycles, bound + 5 * std::sqrt(bound) * seen.dispersion + 5) << w;
      }
      const double nothing_wide = crossings_per_min(setup.noise, setup.unit, 3, 3720, 0);
      EXPECT_NEAR(all.held(0, 0, 0).changes_per_min() / nothing_wide, 1, 0.02);
    }
}

TEST(Flicker, WanderAloneIsTheSampledOrnsteinUhlenbeckProcess) {
  FlickerSetup setup;
  setup.noise.wander_rpm = 4;
  setup.noise.wander_s = 0.25;
  setup.pulses_per_rev = 4;
  setup.unit = {1, 0, 0, 0};
  setup.places_rpm = {3000};
  setup.steps = 1 << 17;
  setup.chunks = 2;
  const FlickerTally all = all_of(setup);
  for (const double width : {2.0, 4.0, 8.0, 12.0, 20.0}) {
    const double expected = closed_form_per_min(setup.noise, setup.unit, 4, 3000, width);
    ASSERT_TRUE(std::isfinite(expected)) << width;
    expect_rate(all.held(0, static_cast<std::size_t>(width / setup.step_rpm), 0), expected, 0.005);
  }
}

TEST(Flicker, NoClosedFormIsClaimedWhereNoneHolds) {
  Noise mixed;
  mixed.jitter_us = 20;
  mixed.wander_rpm = 3;
  mixed.wander_s = 0.4;
  const UnitReading unit;
  EXPECT_TRUE(std::isnan(closed_form_per_min(mixed, unit, 3, 3720, 5)));
  EXPECT_TRUE(std::isfinite(closed_form_per_min(mixed, unit, 3, 3720, 0)));
  Noise pattern;
  pattern.firing = {0.2, -0.2};
  EXPECT_TRUE(std::isnan(closed_form_per_min(pattern, unit, 3, 3720, 0)));
}

TEST(Flicker, TheWorstMeanOfEvenNoiseIsTheMiddleOfTheDeadband) {
  const FlickerSetup setup = jitter_only();
  const FlickerTally all = all_of(setup);
  for (const std::size_t w : {4u, 10u, 20u}) EXPECT_NEAR(all.worst(0, w).mean_off_rpm, 0, 1.5) << w;
}

TEST(Flicker, ALopsidedFiringPatternMovesTheWorstMean) {
  // Readings of single pulses: one in four is high, three are a little low. With
  // hardly any jitter a deadband flickers only around what parts the two.
  FlickerSetup setup;
  setup.noise.firing = {-0.15, -0.05, 0.05, 0.15};
  setup.noise.jitter_us = 0.5;
  setup.pulses_per_rev = 4;
  setup.unit = {1, 0, 0, 0};
  setup.places_rpm = {4000};
  setup.steps = 1 << 12;
  const FlickerTally all = all_of(setup);
  // Steps of 0.1, 0.1, 0.1 and -0.3 per cent of 4000 rpm: -4, -4, -4 and +12.
  const Flicker worst = all.worst(0, 20);
  EXPECT_EQ(worst.width_rpm, 10);
  EXPECT_GT(all.held(0, 20, -4).cycles, 0);
  EXPECT_GT(worst.cycles, 0.99 * static_cast<double>(setup.steps) * 16 / 4);
  EXPECT_EQ(all.held(0, 20, 4).cycles, 0);
  EXPECT_LT(worst.mean_off_rpm, -1);
}

// A unit by another route than the simulation's: edges one by one, its own clock,
// a plain trigger. The changes per minute at the mean where it changes most.
struct PlainUnit {
  double update_hz = 0;
  double phase_s = 0;  // of its first update
  double minutes = 30;

  double worst_changes_per_min(const FlickerSetup& setup, double width_rpm, unsigned seed) const {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> jitter(0, setup.noise.jitter_us * 1e-6);
    const double rpm = setup.places_rpm[0];
    const double period_s = 60 / (rpm * setup.pulses_per_rev);
    const auto averaged = static_cast<std::size_t>(setup.unit.averaging_pulses);
    const std::vector<double>& firing = setup.noise.firing;
    std::vector<double> edges, readings;
    double update_s = 20 * period_s + phase_s;
    for (std::size_t i = 0; update_s < minutes * 60; ++i) {
      const double even_s = static_cast<double>(i) * period_s;
      for (; update_s < even_s - 0.1 * period_s; update_s += 1 / update_hz) {
        std::size_t last = edges.size() - 1;
        while (edges[last] > update_s) --last;
        readings.push_back(60 / setup.pulses_per_rev * static_cast<double>(averaged) /
                           (edges[last] - edges[last - averaged]));
      }
      edges.push_back(even_s + firing[i % firing.size()] / 100 * period_s + jitter(random));
    }
    double most = 0;
    for (double off = -24; off <= 24; off += 0.5) {
      const double low = rpm + off - width_rpm / 2, high = rpm + off + width_rpm / 2;
      bool on = readings[0] >= rpm + off;
      std::uint64_t changes = 0;
      for (const double reading : readings) {
        const bool now = on ? reading >= low : reading >= high;
        changes += now != on;
        on = now;
      }
      most = std::max(most, static_cast<double>(changes) / minutes);
    }
    return most;
  }
};

TEST(Flicker, TheUpperLimitHoldsForEveryPhaseOfUpdatesInStepWithTheFiring) {
  FlickerSetup setup;
  setup.noise.firing = {0, 0.4, -0.4};
  setup.noise.jitter_us = 8;
  setup.pulses_per_rev = 3;
  setup.places_rpm = {3720};
  setup.unit = {4, 0, 0, 0};
  setup.steps = 1 << 15;
  setup.chunks = 2;
  const double cycle_hz = 62;
  for (const double update_hz : {cycle_hz, cycle_hz / 2, cycle_hz * 2, cycle_hz * 2 * 1.001})
    for (const double width_rpm : {3.0, 6.0, 14.0}) {
      setup.unit.update_hz = update_hz;
      setup.seed = static_cast<std::uint64_t>(update_hz + width_rpm);
      const double upper =
          all_of(setup).worst(0, static_cast<std::size_t>(width_rpm / setup.step_rpm)).upper_per_min(0.95);
      for (unsigned phase = 0; phase < 16; ++phase) {
        const PlainUnit unit{update_hz, phase / (16 * cycle_hz)};
        const double seen = unit.worst_changes_per_min(setup, width_rpm, phase);
        EXPECT_LE(seen - 4 * std::sqrt(seen / unit.minutes), upper)
            << update_hz << " Hz, width " << width_rpm << ", phase " << phase << "/16";
      }
    }
}

// Close to a simple ratio, but not in it, and trains that end before the phases have mixed: each train has a
// phase of its own, so that a single chunk knows that they differ.
TEST(Flicker, ASingleChunkOfShortTrainsHoldsForAnyPhaseOfTheFiring) {
  FlickerSetup setup;
  setup.noise.firing = {0, 0.4, -0.4};
  setup.noise.jitter_us = 4;
  setup.pulses_per_rev = 3;
  setup.places_rpm = {3720};
  setup.unit = {4, 62 * 1.003, 0, 0};
  ASSERT_EQ(flicker_phases(setup, 3720).count, 1u);
  const std::size_t width = 1;  // half an rpm
  const double mean_off_rpm = 3.75;
  FlickerSetup longer = setup;
  longer.steps = 1 << 17;
  const double truth = all_of(longer).held(0, width, mean_off_rpm).changes_per_min();
  EXPECT_GT(truth, 500);
  setup.steps = 256;
  constexpr int studies = 40;
  int held = 0;
  for (int i = 0; i < studies; ++i) {
    setup.seed = static_cast<std::uint64_t>(i);
    held += all_of(setup).held(0, width, mean_off_rpm).upper_per_min(0.95) >= truth;
  }
  EXPECT_GE(held, studies - (0.05 * studies + 2.5 * std::sqrt(0.05 * studies)));
}

TEST(Flicker, PhasesAreKeptApartOnlyWhereTheyNeverMix) {
  FlickerSetup setup;
  setup.noise.firing = {0, 0.4, -0.4};
  setup.pulses_per_rev = 3;
  setup.unit = {4, 62, 0, 0};
  EXPECT_EQ(flicker_phases(setup, 3720).count, 6u);  // every third pulse: 3, and 3 between
  EXPECT_EQ(flicker_phases(setup, 3725).spacing, 3);
  EXPECT_EQ(flicker_phases(setup, 3650).count, 1u);        // 2.94: all phases in a second
  EXPECT_EQ(flicker_phases(setup, 3720 / 1.5).count, 1u);  // every second pulse of three
  EXPECT_EQ(flicker_phases(setup, 1860).per_pulse, 2u);    // one and a half
  EXPECT_EQ(flicker_phases(setup, 1860).count, 6u);
  setup.unit.averaging_pulses = 3;  // the pattern is gone
  EXPECT_EQ(flicker_phases(setup, 3720).count, 1u);
  setup.unit = {4, 0, 0, 0};  // at every pulse
  EXPECT_EQ(flicker_phases(setup, 3720).count, 1u);
}

TEST(Flicker, IsTheSameForAnyOrderOfChunksAndAnyInstructions) {
  FlickerSetup setup = jitter_only();
  setup.noise.wander_rpm = 2;
  setup.noise.wander_s = 0.3;
  setup.noise.firing = {0, 0.4, -0.4};
  setup.steps = 3000;
  const FlickerTally forward = all_of(setup);
  for (const Instructions set : {Instructions::baseline, Instructions::avx2, Instructions::avx512}) {
    if (!available(set)) continue;
    FlickerTally backward(setup);
    for (std::uint64_t c = setup.chunks; c-- > 0;) {
      if (c % 2 == 0) backward.add(flicker_chunk(setup, c, set));
      if (c % 2 == 0) continue;
      backward.add(flicker_chunk(setup, c, set, {}, {5, 16}));
      backward.add(flicker_chunk(setup, c, set, {}, {0, 5}));
    }
    for (std::size_t w = 0; w < setup.widths(); ++w) {
      const Flicker a = forward.worst(1, w), b = backward.worst(1, w);
      EXPECT_EQ(a.cycles, b.cycles);
      EXPECT_EQ(a.dispersion, b.dispersion);
      EXPECT_EQ(a.mean_off_rpm, b.mean_off_rpm);
      EXPECT_EQ(a.minutes, b.minutes);
    }
  }
}

TEST(Flicker, NarrowWidthsThatAreNotAskedForChangeNothingElse) {
  FlickerSetup setup = jitter_only();
  setup.reach_rpm = 2;
  const FlickerTally all = all_of(setup);
  setup.narrowest_rpm = 16;
  const FlickerTally wide = all_of(setup);
  for (std::size_t w = 32; w < setup.widths(); ++w)
    for (const double off : {-2.0, 0.0, 1.0}) {
      EXPECT_EQ(all.held(0, w, off).cycles, wide.held(0, w, off).cycles);
      EXPECT_EQ(all.held(1, w, off).dispersion, wide.held(1, w, off).dispersion);
    }
}

TEST(Flicker, ARecordingIsGoneOverOnce) {
  // A pulse in ten comes 1 % of a period early, in a ring of 1,600.
  FlickerSetup setup;
  setup.noise.replay.assign(1600, 0.0);
  for (std::size_t i = 0; i < 1600; i += 10) setup.noise.replay[i] = -0.01;
  setup.pulses_per_rev = 1;
  setup.unit = {1, 0, 0, 0};
  setup.places_rpm = {3000};
  fit_to_recording(setup);
  EXPECT_EQ(setup.steps, 100u);
  const Flicker seen = all_of(setup).held(0, 80, 0);  // 30 rpm up, then 30 down
  EXPECT_NEAR(seen.cycles, 160, 8);
  EXPECT_NEAR(seen.minutes, 1600 / 50.0 / 60, 1e-9);
}

TEST(Flicker, LimitsHoldTheTrueRateAsOftenAsTheySay) {
  // Wander alone, whose cycles cluster: the closed form is the truth.
  const int studies = std::getenv("TACHPROOF_STUDIES") ? std::atoi(std::getenv("TACHPROOF_STUDIES")) : 100;
  FlickerSetup setup;
  setup.noise.wander_rpm = 4;
  setup.noise.wander_s = 0.5;
  setup.pulses_per_rev = 4;
  setup.unit = {1, 0, 0, 0};
  setup.places_rpm = {3000};
  setup.step_rpm = 2;
  setup.reach_rpm = 2;
  setup.widest_rpm = 20;
  setup.steps = 1 << 13;
  int narrow = 0, wide = 0;
  for (int i = 0; i < studies; ++i) {
    setup.seed = static_cast<std::uint64_t>(i);
    const FlickerTally all = all_of(setup);
    narrow +=
        all.held(0, 2, 0).upper_per_min(0.95) >= closed_form_per_min(setup.noise, setup.unit, 4, 3000, 4);
    wide +=
        all.held(0, 8, 0).upper_per_min(0.95) >= closed_form_per_min(setup.noise, setup.unit, 4, 3000, 16);
  }
  const double allowed = 0.05 * studies + 2.5 * std::sqrt(0.05 * studies);
  EXPECT_GE(narrow, studies - allowed);
  EXPECT_GE(wide, studies - allowed);
}

TEST(Flicker, MissingPulsesCarryALampOverAndBackWhateverTheDeadband) {
  Noise noise;
  noise.missing = 1e-5;
  noise.doubled = 2e-5;
  EXPECT_NEAR(disturbances_per_min(noise, 3, 4000), 2 * 3e-5 * 200 * 60, 1e-12);
}

Flicker predicted(double width, double cycles, double minutes) {
  Flicker flicker;
  flicker.width_rpm = width;
  flicker.cycles = cycles;
  flicker.minutes = minutes;
  return flicker;
}

TEST(FlickerCauses, MissingPulsesAreToldFromADeadbandTooNarrow) {
  Noise noise;
  noise.missing = 1e-4;
  const FlickerReason reason = explain_prediction(noise, {}, 3, 4000, predicted(7, 3, 60), 1);
  EXPECT_EQ(reason.cause, FlickerCause::missing_pulses);
  EXPECT_EQ(reason.sentence,
            "missing and doubled pulses of the signal alone make 2.40 lamp changes per minute, whatever the "
            "deadband");
  EXPECT_EQ(explain_prediction({}, {}, 3, 4000, predicted(7, 300, 60), 1).cause, FlickerCause::noise);
  EXPECT_EQ(explain_prediction({}, {}, 3, 4000, predicted(7, 3, 60), 1).cause, FlickerCause::none);
}

TEST(FlickerCauses, AFiringPatternIsChatterUnlessWholeCyclesAreAveraged) {
  Noise noise;
  noise.firing = {0, 0.4, -0.4};
  UnitReading unit;
  unit.averaging_pulses = 4;
  // One step of the pattern over 4 pulses: 0.4, -0.8, 0.4 per cent of 4000 rpm / 4.
  EXPECT_NEAR(firing_swing_rpm(noise, unit, 4000), 12, 1e-9);
  EXPECT_EQ(explain_prediction(noise, unit, 3, 4000, predicted(7, 300, 60), 1).sentence,
            "the firing pattern moves the unit's average of 4 pulses by 12.0 rpm, more than the deadband of "
            "7.0 rpm. An average of whole engine cycles, a multiple of 3 pulses, cancels it");
  unit.averaging_pulses = 6;
  EXPECT_EQ(firing_swing_rpm(noise, unit, 4000), 0);
  EXPECT_EQ(explain_prediction(noise, unit, 3, 4000, predicted(7, 300, 60), 1).cause, FlickerCause::noise);
}

TEST(FlickerCauses, TheUnitIsBlamedOnlyForWhatTheSignalDoesNotExplain) {
  const Flicker sound = predicted(7, 30, 600);  // 0.1 a minute
  EXPECT_EQ(explain_seen({}, {}, 3, 4000, sound, 40, 10, 1).cause, FlickerCause::unit);
  EXPECT_EQ(explain_seen({}, {}, 3, 4000, sound, 4, 10, 1).cause, FlickerCause::none);
  EXPECT_EQ(explain_seen({}, {}, 3, 4000, predicted(7, 1200, 600), 40, 10, 1).cause, FlickerCause::noise);
  EXPECT_EQ(explain_seen({}, {}, 3, 4000, sound, 2, 1, 1).sentence,
            "2.00 lamp changes per minute are no proof against the unit: a sound one may make 0.14, and "
            "chance explains the rest");
}

}  // namespace
}  // namespace tachproof
