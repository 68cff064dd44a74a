// The emulated board beside the simulator: the same scenario, the same unit,
// the same judge.
//
// TACHPROOF_FULL=1 takes the longer scenarios.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <map>

#include "bench/rigs/simulated/faults.h"
#include "bench/rigs/simulated/simulated_rig.h"
#include "bench/run/runner.h"
#include "tests/bench/drumlin_run.h"
#include "tests/bench/fault_examples.h"
#include "tests/bench/files_cases.h"
#include "tests/bench/judged_unit.h"
#include "tests/bench/scratch_folder.h"
#include "tests/bench/unit_scene.h"
#include "tests/emulated_board/bench_with_board.h"
#include "tests/emulated_board/unit_on_pins.h"

namespace tachproof {
namespace {

bool full_size() { return std::getenv("TACHPROOF_FULL") != nullptr; }

RunResult on_board(const Gauge& gauge, const Behaviour& behaviour, const Profile& profile,
                   const JudgeWhat& what) {
  BoardSettings settings;
  settings.wires = one_input_each(gauge);
  BenchWithBoard bench(
      settings, std::make_unique<UnitOnPins>(SimulatedUnit(gauge, behaviour, gauge, 1), settings.wires));
  return run_on(bench.rig(), gauge, profile, what);
}

TEST(Agreement, TheAcceptanceScenarioGivesTheSameVerdictsAndThresholds) {
  const ScenarioFile scenario = load_scenario(source_path("scenarios/acceptance.yaml"));
  const Gauge gauge = load_gauge(source_path("fixtures/gauges/drumlin.yaml"));
  const Profile profile(scenario.steps);
  Behaviour behaviour;
  behaviour.response_ms = 20;
  Rig simulated = simulated_rig(gauge, behaviour, gauge, 1);
  const RunResult s = run_on(simulated, gauge, profile, scenario.judge);
  const RunResult b = on_board(gauge, behaviour, profile, scenario.judge);

  EXPECT_EQ(s.verdict, Verdict::pass) << test::told(s);
  EXPECT_EQ(b.verdict, Verdict::pass) << test::told(b);
  // A step may show the windows that it jumps over or not, as the unit's
  // readings fall; what is seen has to be right on both.
  for (const RunResult* result : {&s, &b}) {
    EXPECT_GT(result->transitions.size(), 100u);
    for (const TransitionResult& t : result->transitions)
      EXPECT_TRUE(!t.asked || t.verdict == Verdict::pass) << t.boundary;
  }
  ASSERT_EQ(b.boundaries.size(), s.boundaries.size());
  double most = 0;
  for (std::size_t i = 0; i < s.boundaries.size(); ++i) {
    const BoundaryResult &one = s.boundaries[i], &other = b.boundaries[i];
    EXPECT_EQ(other.boundary, one.boundary) << i;
    EXPECT_EQ(other.verdict, one.verdict) << one.boundary;
    // ISO/IEC 17043: two results agree when |E_n| <= 1.
    const double e_n = (other.threshold_rpm - one.threshold_rpm) /
                       std::hypot(other.expanded_uncertainty_rpm, one.expanded_uncertainty_rpm);
    EXPECT_LE(std::abs(e_n), 1) << one.boundary;
    EXPECT_GT(other.expanded_uncertainty_rpm, one.expanded_uncertainty_rpm) << "a real clock has its part";
    most = std::max(most, std::abs(other.threshold_rpm - one.threshold_rpm));
  }
  EXPECT_GE(s.boundaries.size(), 18u);
  RecordProperty("largest_difference_rpm", std::to_string(most));
}

// What of the proving scenario finds every fault: the slowest pass, the
// quickest, the blink, and the steps.
std::vector<Step> short_proof(const Gauge& gauge) {
  std::vector<Step> all = test::proving_steps(gauge);
  const auto pass = static_cast<std::ptrdiff_t>(8 * (gauge.windows.size() - 1));
  all.erase(all.begin() + 1 + pass, all.begin() + 1 + 2 * pass);
  return all;
}

TEST(Agreement, EveryFaultOfTheCatalogueIsCaughtOnTheBoard) {
  const Gauge gauge = test::test_gauge();
  const Profile profile{full_size() ? test::proving_steps(gauge) : short_proof(gauge)};
  const JudgeWhat what{true, true, true, true};
  const RunResult healthy = on_board(gauge, {}, profile, what);
  EXPECT_EQ(healthy.verdict, Verdict::pass) << test::told(healthy);
  std::map<std::string, int> seen;
  for (const FaultSetting& fault : test::fault_examples()) {
    Behaviour behaviour;
    behaviour.faults = {fault};
    const RunResult result = on_board(gauge, behaviour, profile, what);
    EXPECT_EQ(result.verdict, Verdict::fail) << fault.kind << "\n" << test::told(result);
    ++seen[fault.kind];
  }
  for (const FaultKind& kind : fault_catalogue()) {
    if (test::needs_a_hand(kind.kind)) continue;
    EXPECT_GT(seen[kind.kind], 0) << kind.kind << " has no case here";
  }
}

// A question in mid-run, answered by a person after a while.
class Question : public ::testing::Test {
 protected:
  Question() {
    settings.wires = one_input_each(gauge);
    Ask ask;
    ask.question = "Peak shown, rpm?";
    ask.wants = Ask::Wants::peak;
    ask.within = 10;
    steps = {Hold{3000, ns_per_s},   RampByRate{8200, 2000}, Hold{8200, ns_per_s}, ask,
             RampByRate{3000, 2000}, Hold{3000, ns_per_s}};
  }

  // Answered at the n-th asking.
  RunResult run(int n, const std::string& answer, std::vector<PinEdge>* edges = nullptr) {
    Behaviour behaviour;
    behaviour.response_ms = 20;
    BenchWithBoard bench(
        settings, std::make_unique<UnitOnPins>(SimulatedUnit(gauge, behaviour, gauge), settings.wires));
    RunHooks hooks;
    hooks.ask_person = [&, times = 0](const Ask&, Nanos patience) mutable -> std::optional<Reply> {
      EXPECT_EQ(patience, 0);
      if (++times < n) return std::nullopt;
      return Reply{answer};
    };
    const RunResult result = run_on(bench.rig(), gauge, Profile(steps), all_but_thresholds(), hooks);
    if (edges != nullptr) *edges = bench.board().tach_edges();
    return result;
  }

  Gauge gauge = drumlin::gauge();
  BoardSettings settings;
  std::vector<Step> steps;
};

TEST_F(Question, LetsTheTrainGoOnForAsLongAsThePersonThinks) {
  std::vector<PinEdge> at_once, later;
  const RunResult quick = run(1, "8203", &at_once);
  const RunResult slow = run(100, "8203", &later);
  EXPECT_EQ(quick.verdict, Verdict::pass) << test::told(quick);
  EXPECT_EQ(slow.verdict, Verdict::pass) << test::told(slow);
  EXPECT_TRUE(slow.complete);
  EXPECT_EQ(slow.transitions.size(), quick.transitions.size());
  ASSERT_EQ(slow.answers.size(), 1u);
  EXPECT_EQ(slow.answers[0].verdict, Verdict::pass);
  // Two periods and a half of thinking are at least 50 ms each: 99 of them.
  EXPECT_GE(slow.evidence.pulses, quick.evidence.pulses + 99 * 20);
  EXPECT_EQ(later.size(), 2 * slow.evidence.pulses);
  // No interval on the pin is out of line: 8200 rpm x 3 is 39,024 cycles.
  std::vector<Cycles> rising;
  for (const PinEdge& edge : later)
    if (edge.rising) rising.push_back(edge.at);
  for (std::size_t i = 1; i < rising.size(); ++i) {
    const Cycles interval = rising[i] - rising[i - 1];
    ASSERT_GE(interval, 39'000u) << i;
    ASSERT_LE(interval, 110'000u) << i;
  }
}

TEST_F(Question, IsJudgedByItsAnswer) {
  EXPECT_EQ(run(20, "8000").verdict, Verdict::fail);
  EXPECT_EQ(run(20, "").verdict, Verdict::undecided);
}

}  // namespace
}  // namespace tachproof
