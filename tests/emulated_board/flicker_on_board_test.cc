// Flicker on the emulated board: what the simulation predicts is what comes in
// on the pins, and a dwell certifies it there.

#include <gtest/gtest.h>

#include "bench/rigs/simulated/unit_settings.h"
#include "bench/run/dwell_run.h"
#include "bench/run/flicker_study.h"
#include "core/base/rate_test.h"
#include "core/signal/pulse_train.h"
#include "tests/bench/scratch_folder.h"
#include "tests/emulated_board/bench_with_board.h"
#include "tests/emulated_board/unit_on_pins.h"

namespace tachproof {
namespace {

class FlickerOnBoard : public ::testing::Test {
 protected:
  FlickerOnBoard() {
    gauge.name = "one lamp";
    gauge.pulses_per_rev = 3;
    gauge.lamps = {{"near", {"white"}}};
    gauge.windows = {{"calm", 0, {}}, {"brisk", 3600, {1}}};
    gauge.deadband = {10, Sits::below};
    gauge.tolerance.rpm = 3;
    gauge.tolerance.response_to = 120 * ns_per_ms;
    settings.wires = {{"in0", 1}};
    behaviour.resolution_rpm = 0;
  }

  std::unique_ptr<WiredUnit> unit() const {
    return std::make_unique<UnitOnPins>(SimulatedUnit(gauge, behaviour, gauge, 5), settings.wires);
  }

  double middle_rpm() const { return (gauge.rising_rpm(1) + gauge.falling_rpm(1)) / 2; }

  Flicker predicted(const Noise& noise) const {
    FlickerSetup setup;
    setup.noise = noise;
    setup.pulses_per_rev = gauge.pulses_per_rev;
    setup.unit = unit_reading(gauge, behaviour);
    setup.places_rpm = {middle_rpm()};
    setup.widest_rpm = gauge.deadband.rpm;
    setup.seed = 41;
    setup.chunks = 4;
    return simulate_flicker(setup, 1).held(0, setup.widths() - 1, 0);
  }

  // Whole cycles of the lamp, in so much of the board's time.
  double seen_cycles(const Noise& noise, Nanos time) {
    const Nanos settled = ns_per_s;
    const std::vector<Step> steps = {Hold{middle_rpm(), settled + time}};
    const Profile profile(steps);
    PulseTrain train(profile, gauge.pulses_per_rev, noise, 6);
    std::vector<Nanos> pulses(static_cast<std::size_t>(to_seconds(profile.duration()) * 200));
    pulses.resize(train.next(pulses));
    BenchWithBoard bench(settings, unit());
    const BenchWithBoard::Run run = bench.run(pulses, pulses.back());
    EXPECT_EQ(run.lost, 0u);
    double changes = 0;
    for (const LampEvent& event : run.events) changes += event.at > settled ? 1 : 0;
    return changes / 2;
  }

  Gauge gauge;
  BoardSettings settings;
  Behaviour behaviour;
};

TEST_F(FlickerOnBoard, IsWhatTheSimulationPredicts) {
  Noise jitter;
  jitter.jitter_us = 15;
  Noise mixed;
  mixed.jitter_us = 13;
  mixed.wander_rpm = 4;
  mixed.wander_s = 0.1;
  for (const Noise& noise : {jitter, mixed}) {
    const Flicker flicker = predicted(noise);
    // The exact limits of a Poisson count hold for one that is more even.
    ASSERT_LT(flicker.dispersion, 1.01);
    const Nanos time = 100 * ns_per_s;
    const double minutes = to_seconds(time) / 60;
    const double cycles = seen_cycles(noise, time);
    const double expected = flicker.cycles / flicker.minutes * minutes;
    EXPECT_GT(cycles, 200);
    EXPECT_GE(expected, one_sided_lower(cycles, 0.975)) << cycles;
    EXPECT_LE(expected, one_sided_upper(cycles, 0.975)) << cycles;
    RecordProperty(noise.wander_rpm > 0 ? "mixed" : "jitter",
                   std::to_string(cycles) + " seen, " + std::to_string(expected) + " expected");
  }
}

// scenarios/flicker.yaml with a limit that is soon decided.
class DwellOnBoard : public FlickerOnBoard {
 protected:
  RunResult run() {
    const ScenarioFile scenario = load_scenario(scratch.write("flicker.yaml",
                                                              "format: 1\n"
                                                              "kind: scenario\n"
                                                              "name: flicker\n"
                                                              "seed: 11\n"
                                                              "dwell: {limit_per_min: 60, longest: 20s}\n"
                                                              "noise: {jitter_us: 10, wander_rpm: 1, "
                                                              "wander_s: 0.8}\n"));
    BenchWithBoard bench(settings, unit());
    RunRecord record;
    record.gauge = gauge;
    RunFolder folder = RunFolder::create(scratch / "run", record);
    const DwellPlan plan{gauge, scenario.noise, scenario.seed, *scenario.dwell,
                         unit_reading(gauge, behaviour)};
    return run_dwell(plan, bench.rig(), folder).result;
  }
  ScratchFolder scratch;
};

TEST_F(DwellOnBoard, PassesAUnitWhoseDeadbandIsWideEnough) {
  gauge.deadband.rpm = 25;
  const RunResult result = run();
  EXPECT_EQ(result.verdict, Verdict::pass);
  EXPECT_TRUE(result.complete);
  EXPECT_EQ(result.evidence.lost, 0u);
  ASSERT_EQ(result.flicker.size(), 1u);
  EXPECT_NEAR(result.flicker[0].mean_rpm, middle_rpm(), 5);
  EXPECT_LE(result.flicker[0].upper_95_per_min, 60);
}

TEST_F(DwellOnBoard, FailsOneWhoseDeadbandIsTooNarrowForTheNoise) {
  gauge.deadband.rpm = 2;
  const RunResult result = run();
  EXPECT_EQ(result.verdict, Verdict::fail);
  EXPECT_TRUE(result.complete);
  ASSERT_EQ(result.findings.size(), 1u);
  EXPECT_EQ(result.findings[0].kind, FindingKind::flicker);
  EXPECT_NE(result.findings[0].message.find("jitter and wander of the signal"), std::string::npos)
      << result.findings[0].message;
}

}  // namespace
}  // namespace tachproof
