// Scenario to verdict on the emulated board: the runner, the board's link, the
// firmware, a simulated unit on its pins, and the judge.

#include <gtest/gtest.h>

#include <cstdlib>

#include "bench/run/lamp_test_run.h"
#include "bench/run/runner.h"
#include "bench/run/survey_run.h"
#include "core/plan/lamp_test.h"
#include "tests/bench/drumlin_run.h"
#include "tests/bench/survey_units.h"
#include "tests/emulated_board/bench_with_board.h"
#include "tests/emulated_board/unit_on_pins.h"

namespace tachproof {
namespace {

class WholeRun : public testing::Test {
 protected:
  WholeRun() {
    settings.wires = {{"in0", gauge.channel("left", "white")},  {"in1", gauge.channel("left", "blue")},
                      {"in2", gauge.channel("mid", "blue")},    {"in3", gauge.channel("mid", "magenta")},
                      {"in4", gauge.channel("right", "white")}, {"in5", gauge.channel("right", "magenta")},
                      {"in6", gauge.channel("top", "magenta")}};
    behaviour.response_ms = 20;
  }

  RunResult run(const std::string& request = "") {
    SimulatedUnit unit(gauge, behaviour, gauge);
    BenchWithBoard bench(settings, std::make_unique<UnitOnPins>(std::move(unit), settings.wires));
    if (!request.empty()) bench.request(request);
    const std::vector<Step> steps{Hold{3000, ns_per_s}, RampByRate{8200, 1000}, Hold{8200, 2 * ns_per_s},
                                  RampByRate{3000, 1000}};
    return run_on(bench.rig(), gauge, Profile(steps));
  }

  Gauge gauge = drumlin::gauge();
  BoardSettings settings;
  Behaviour behaviour;
};

TEST_F(WholeRun, PassesASoundUnit) {
  const RunResult result = run();
  EXPECT_EQ(result.verdict, Verdict::pass);
  EXPECT_TRUE(result.complete);
  EXPECT_TRUE(result.findings.empty());
  EXPECT_EQ(result.transitions.size(), 18u);
  EXPECT_EQ(result.evidence.lost, 0u);
}

TEST_F(WholeRun, FailsAUnitWithAMovedBoundary) {
  FaultSetting fault;
  fault.kind = "boundary-moved";
  fault.words = {{"boundary", "shift"}};
  fault.numbers = {{"by_rpm", 150}};
  behaviour.faults = {fault};
  EXPECT_EQ(run().verdict, Verdict::fail);
}

TEST_F(WholeRun, ALampTestFindsTheWiring) {
  const std::vector<std::string> inputs{"in0", "in1", "in2", "in3", "in4", "in5", "in6", "in7"};
  const Gauge nameless = gauge_of_inputs(gauge, inputs);
  BoardSettings unknown;
  for (const std::string& input : inputs) unknown.wires.push_back({input, nameless.channel(input, "lit")});
  UnitOnPins unit(SimulatedUnit(gauge, behaviour, gauge), settings.wires, false);
  BenchWithBoard bench(unknown, std::make_unique<UnitOnPins>(std::move(unit)));
  const LampTest test = play_lamp_test(nameless, bench.rig());
  EXPECT_TRUE(test.troubles.empty());
  const FoundWires found = find_wires(gauge, test.shown, inputs.size());
  EXPECT_FALSE(found.active_high);
  EXPECT_EQ(found.wires.size(), 5u);
  for (const FoundWires::Wire& wire : found.wires)
    EXPECT_EQ(settings.wires[wire.input].lights, Channels{1} << wire.channel);
  ASSERT_EQ(found.alike.size(), 1u);  // both magentas light in "beyond", and there alone
  EXPECT_EQ(found.silent, std::vector<std::size_t>{7});
}

TEST_F(WholeRun, ALampTestOnADamagedLineFindsNothing) {
  SimulatedUnit unit(gauge, behaviour, gauge);
  BenchWithBoard bench(settings, std::make_unique<UnitOnPins>(std::move(unit), settings.wires));
  bench.request("fault to-board flip 700 3");
  EXPECT_FALSE(play_lamp_test(gauge, bench.rig()).troubles.empty());
}

TEST_F(WholeRun, SurveysASoundUnit) {
  SimulatedUnit unit(gauge, behaviour, gauge);
  BenchWithBoard bench(settings, std::make_unique<UnitOnPins>(std::move(unit), settings.wires));
  const SurveySetup setup = survey_setup_of(bench.rig(), 1);
  SurveyPlanner planner(gauge, setup);
  const SurveyEvidence evidence = play_survey([&](const SurveyView& view) { return planner.next(view); },
                                              gauge.pulses_per_rev, bench.rig(), nullptr);
  const RunResult result = judge_evidence(gauge, setup.judge, evidence, nullptr);
  EXPECT_EQ(result.verdict, Verdict::pass);
  EXPECT_TRUE(result.findings.empty());
  ASSERT_EQ(result.boundaries.size(), 18u);
  for (const BoundaryResult& row : result.boundaries) {
    EXPECT_LE(row.expanded_uncertainty_rpm, 1);
    EXPECT_TRUE(std::any_of(row.budget.begin(), row.budget.end(), [](const BudgetLine& line) {
      return line.component == "source crystal" && line.standard_uncertainty_rpm > 0;
    }));
  }
  EXPECT_LT(to_seconds(result.duration), 30);
}

// Six units on every build; TACHPROOF_UNITS asks for more.
TEST_F(WholeRun, WhatASurveyStatesHoldsOnTheBoardToo) {
  const char* asked = std::getenv("TACHPROOF_UNITS");
  const std::uint64_t units = asked != nullptr ? std::strtoull(asked, nullptr, 10) : 6;
  const HonestyCount count = survey_random_units(
      1, units, 1,
      [&](const RandomUnit& unit, std::uint64_t number, const std::function<void(Rig&)>& survey) {
        SimulatedUnit on_pins(unit.runs, unit.behaviour, gauge, number);
        BenchWithBoard bench(settings, std::make_unique<UnitOnPins>(std::move(on_pins), settings.wires));
        survey(bench.rig());
      });
  RecordProperty("inside", static_cast<int>(count.inside));
  EXPECT_EQ(count.intervals, 18 * units);
  EXPECT_GE(clopper_pearson(count.inside, count.intervals).high, 0.95)
      << count.inside << " of " << count.intervals << " stated intervals hold the truth";
  EXPECT_EQ(count.units_passed, 0u) << "of " << count.units_outside << " that are outside tolerance";
}

TEST_F(WholeRun, IsUndecidedOnADamagedLine) {
  const RunResult result = run("fault to-host flip 4000 2");
  EXPECT_EQ(result.verdict, Verdict::undecided);
  EXPECT_FALSE(result.complete);
  ASSERT_EQ(result.findings.size(), 1u);
  EXPECT_EQ(result.findings[0].kind, FindingKind::bench_fault);
}

}  // namespace
}  // namespace tachproof
