// One unit played twice on the emulated board: nothing of it has changed.
//
// TACHPROOF_FULL=1 takes the longer scenarios as well.
#include <gtest/gtest.h>

#include <cstdlib>

#include "bench/files/files.h"
#include "bench/reports/comparison_report.h"
#include "bench/rigs/rig.h"
#include "bench/run/runner.h"
#include "tests/bench/files_cases.h"
#include "tests/bench/scratch_folder.h"
#include "tests/emulated_board/bench_with_board.h"
#include "tests/emulated_board/unit_on_pins.h"

namespace tachproof {
namespace {

struct Played {
  Gauge gauge = load_gauge(source_path("fixtures/gauges/drumlin.yaml"));
  Profile profile;
  JudgeWhat what;
};

// `seed`: of the unit, whose updates then fall elsewhere.
StoredRun on_board(const Played& played, const Behaviour& behaviour, std::uint64_t seed) {
  BoardSettings settings;
  settings.wires = one_input_each(played.gauge);
  BenchWithBoard bench(
      settings, std::make_unique<UnitOnPins>(SimulatedUnit(played.gauge, behaviour, played.gauge, seed),
                                             settings.wires));
  const ScratchFolder scratch;
  StoredRun run;
  run.record.gauge = played.gauge;
  run.record.bench = bench_facts(bench.rig());
  RunFolder folder = RunFolder::create(scratch / "run", run.record);
  RunOutcome outcome =
      run_scenario({played.gauge, played.profile, {}, 1, played.what}, bench.rig(), folder, {});
  run.record.result = std::move(outcome.result);
  run.trace = std::move(outcome.trace);
  return run;
}

std::string told(const ComparisonRecord& record) { return comparison_text(record, 100); }

Played shipped(const std::string& name) {
  const ScenarioFile scenario = load_scenario(source_path("scenarios/" + name + ".yaml"));
  Played played;
  played.profile = Profile(scenario.steps);
  played.what = scenario.judge;
  return played;
}

void expect_unchanged(const std::string& name) {
  const Played played = shipped(name);
  for (const double update_hz : {100.0, 20.0}) {
    Behaviour behaviour;
    behaviour.response_ms = 20;
    behaviour.update_hz = update_hz;
    const StoredRun before = on_board(played, behaviour, 1), after = on_board(played, behaviour, 2);
    const ComparisonRecord same = comparison_of("before", before, "after", after);
    EXPECT_EQ(same.comparison.verdict, Verdict::pass) << name << ", " << update_hz << " Hz\n" << told(same);
    if (update_hz > 20) continue;
    behaviour.response_ms = 105;
    const ComparisonRecord slower = comparison_of("before", before, "after", on_board(played, behaviour, 3));
    EXPECT_NE(slower.comparison.verdict, Verdict::pass) << name << "\n" << told(slower);
  }
}

TEST(CompareOnBoard, OneUnitTwiceHasNotChangedAndASlowerOneHas) { expect_unchanged("regression"); }

TEST(CompareOnBoard, NorHasItByTheLongerScenariosThatShip) {
  if (std::getenv("TACHPROOF_FULL") == nullptr) GTEST_SKIP() << "TACHPROOF_FULL=1 takes them";
  for (const char* name : {"acceptance", "survey"}) expect_unchanged(name);
}

}  // namespace
}  // namespace tachproof
