// How good a test is, against runs that are really played.
#include "bench/run/grade.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <nlohmann/json.hpp>
#include <regex>
#include <utility>

#include "bench/reports/grade_report.h"
#include "bench/rigs/simulated/simulated_rig.h"
#include "bench/run/runner.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof {
namespace {

using nlohmann::json;
using testing::HasSubstr;

const std::filesystem::path source = TACHPROOF_SOURCE_DIR;

Gauge drumlin() { return load_gauge(source / "fixtures/gauges/drumlin.yaml"); }

TrialScenario shipped(const std::string& name) {
  const ScenarioFile file = load_scenario(source / "scenarios" / (name + ".yaml"));
  return {file.name, Profile(file.steps), file.noise, file.seed, file.judge};
}

GradeAsk ask_for(const std::string& name, bool sizes = false) {
  GradeAsk ask;
  ask.scenarios = {shipped(name)};
  ask.sizes = sizes;
  return ask;
}

class Graded : public testing::Test {
 protected:
  // A run as `run` plays it.
  Verdict played(const Gauge& gauge, const TrialScenario& scenario, const Gauge& unit,
                 const Behaviour& behaviour) {
    RunRecord record;
    record.gauge = gauge;
    RunFolder folder = RunFolder::create(scratch / std::to_string(++runs), record);
    Rig rig = simulated_rig(unit, behaviour, gauge, scenario.seed);
    return run_scenario({gauge, scenario.profile, scenario.noise, scenario.seed, scenario.what}, rig, folder,
                        {})
        .result.verdict;
  }

  // Fault by fault on the Drumlin: all that escape or are undecided, and one in `every` of the others.
  std::pair<int, int> compare_with_runs(const std::string& scenario, std::size_t every) {
    const Gauge gauge = drumlin();
    const GradeAsk ask = ask_for(scenario);
    const FaultTrials trials(gauge, ask.scenarios[0], ask.rig);
    const Grade graded = grade(gauge, ask);
    EXPECT_EQ(graded.scenarios[0].sound, played(gauge, ask.scenarios[0], gauge, {}));
    int escaped = 0, caught = 0;
    for (std::size_t i = 0; i < graded.faults.size(); ++i) {
      const GradedFault& fault = graded.faults[i];
      if (fault.verdict == Verdict::fail && i % every != 0) continue;
      const std::optional<Fault> placed = trials.placed(fault.listed.fault);
      if (!placed || placed->kind == Fault::Kind::no_signal) continue;
      Behaviour behaviour;
      Gauge unit = gauge;
      if (const std::optional<FaultSetting> setting = setting_of(*placed, gauge))
        behaviour.faults = {*setting};
      else
        unit = with_fault(gauge, *placed);
      EXPECT_EQ(fault.verdict, played(gauge, ask.scenarios[0], unit, behaviour)) << describe(*placed, gauge);
      (fault.verdict == Verdict::fail ? caught : escaped) += 1;
    }
    return {caught, escaped};
  }

  ScratchFolder scratch;
  int runs = 0;
};

TEST_F(Graded, CaughtAndEscapedAgreeWithRealRuns) {
  const auto [caught, escaped] = compare_with_runs("survey", 7);
  EXPECT_GT(caught, 10);
  EXPECT_GT(escaped, 0);
}

TEST_F(Graded, WhatAcceptanceCatchesAgreesWithRealRuns) {
  const auto [caught, escaped] =
      compare_with_runs("acceptance", std::getenv("TACHPROOF_FULL") != nullptr ? 1 : 5);
  EXPECT_GT(caught, 25);
  EXPECT_GT(escaped, 0);  // units whose lamps never change
}

// Stays below the upper half of the gauge, and does not ask for thresholds.
GradeAsk half_of_it() {
  GradeAsk ask;
  ask.scenarios = {
      {"half",
       Profile(std::vector<Step>{Hold{3000, ns_per_s}, RampByRate{4400, 40}, Hold{4400, ns_per_s},
                                 RampByRate{3000, 40}, Hold{3000, ns_per_s}}),
       {},
       1,
       {true, true, true, false, 0}}};
  ask.sizes = false;
  return ask;
}

TEST_F(Graded, SaysWhyAFaultEscapes) {
  const Gauge gauge = drumlin();
  const std::string text = grade_text(grade(gauge, half_of_it()));
  EXPECT_THAT(text,
              testing::ContainsRegex(
                  "\n  [0-9]+ faults, because the boundaries are never crossed: add a slow ramp across,\n"
                  "  both ways\n"
                  "(    - .*\n)*    - boundary shift is 6 rpm too high \\(7606 rpm, set: 7600\\)\n"));
  EXPECT_THAT(text, HasSubstr("    - nothing blinks: over-rev\n"));
}

TEST_F(Graded, SaysEveryReasonOnceAndEveryFaultOnce) {
  const Gauge gauge = drumlin();
  const Grade graded = grade(gauge, ask_for("response"));
  ASSERT_GT(graded.count(Verdict::pass), 10u);
  std::string words = grade_text(graded);
  words = std::regex_replace(words, std::regex("\\s+"), " ");
  const auto times = [&](const std::string& part) {
    int found = 0;
    for (std::size_t at = words.find(part); at != std::string::npos; at = words.find(part, at + 1)) ++found;
    return found;
  };
  for (const GradedFault& fault : graded.faults) {
    if (fault.verdict == Verdict::fail) continue;
    EXPECT_EQ(times(describe(fault.listed.fault, gauge)), 1) << describe(fault.listed.fault, gauge);
    EXPECT_EQ(times(fault.why.shared) + times(fault.why.clause) * (fault.why.shared != fault.why.clause), 1)
        << fault.why.shared;
  }
}

TEST_F(Graded, AReasonThatOneFaultHasStandsBelowItWithItsNames) {
  Grade graded = grade(drumlin(), half_of_it());
  std::erase_if(graded.faults, [](const GradedFault& fault) {
    return fault.listed.fault.kind != Fault::Kind::blink_absent;
  });
  ASSERT_EQ(graded.faults.size(), 1u);
  EXPECT_THAT(grade_text(graded),
              HasSubstr("\nEscape\n  nothing blinks:\n"
                        "    window over-rev is never shown for certain: add a hold there\n"));
}

TEST_F(Graded, TheSmallestShiftIsWhereVerdictsChange) {
  const Gauge gauge = drumlin();
  const GradeAsk ask = ask_for("regression", true);
  const FaultTrials trials(gauge, ask.scenarios[0], ask.rig);
  const Grade graded = grade(gauge, ask);
  ASSERT_EQ(graded.shifts.size(), 18u);
  int looked = 0;
  for (const NoticedShift& shift : graded.shifts) {
    if (!std::isfinite(shift.rpm) || shift.boundary % 3 != 1) continue;
    Fault moved;
    moved.boundary = shift.boundary;
    moved.size = shift.up ? shift.rpm : -shift.rpm;
    EXPECT_EQ(trials.with(moved).verdict, Verdict::fail) << describe(moved, gauge);
    moved.size = *moved.size * 0.9;
    EXPECT_NE(trials.with(moved).verdict, Verdict::fail) << describe(moved, gauge);
    ++looked;
  }
  EXPECT_GT(looked, 2);
}

TEST_F(Graded, ThreadsShowInNothing) {
  const Gauge gauge = drumlin();
  GradeAsk ask = ask_for("regression");
  ask.threads = 1;
  const std::string one = grade_json(grade(gauge, ask));
  ask.threads = 3;
  EXPECT_EQ(grade_json(grade(gauge, ask)), one);
}

TEST_F(Graded, SharesPutTogetherAreTheWhole) {
  const Gauge gauge = drumlin();
  GradeAsk ask = ask_for("regression");
  const json whole = json::parse(grade_json(grade(gauge, ask)));
  std::vector<std::string> shares;
  ask.shards = 3;
  for (ask.shard = 1; ask.shard <= 3; ++ask.shard) shares.push_back(grade_json(grade(gauge, ask)));
  const json merged = json::parse(merged_grade_json(shares));
  EXPECT_EQ(merged, whole);
  std::reverse(shares.begin(), shares.end());
  EXPECT_EQ(json::parse(merged_grade_json(shares)), whole);
  shares.pop_back();
  EXPECT_THROW(merged_grade_json(shares), std::runtime_error);
}

TEST_F(Graded, AScenarioThatFailsASoundUnitCatchesNothing) {
  const Gauge gauge = drumlin();
  GradeAsk ask = ask_for("regression");
  ask.rig.behaviour.response_ms = 300;
  const Grade graded = grade(gauge, ask);
  EXPECT_EQ(graded.scenarios[0].sound, Verdict::fail);
  EXPECT_EQ(graded.count(Verdict::fail), 0u);
  EXPECT_THAT(grade_text(graded), HasSubstr("A unit without a fault FAILS"));
}

TEST_F(Graded, TheSettingsOfAnotherGaugeAreOneMoreFault) {
  const Gauge gauge = drumlin();
  GradeAsk ask = ask_for("regression");
  ask.among = {{"drumlin-raised.yaml", load_gauge(source / "fixtures/gauges/drumlin-raised.yaml")},
               {"itself.yaml", gauge}};
  const Grade graded = grade(gauge, ask);
  EXPECT_EQ(describe(graded.faults.back().listed.fault, gauge),
            "the unit has the settings of drumlin-raised.yaml");
  EXPECT_EQ(graded.faults.back().verdict, Verdict::fail);
  EXPECT_EQ(describe(graded.left_out.back().fault, gauge), "the unit has the settings of itself.yaml");
}

TEST_F(Graded, AGeneratorsStepsHideSmallShifts) {
  const Gauge gauge = drumlin();
  const std::string file = (source / "fixtures/rigs/generator.yaml").string();
  const RigModel model = model_of(load_rig(file), file, gauge);
  EXPECT_GT(model.bench.source.lag, 0);
  EXPECT_TRUE(model.steps);
}

TEST_F(Graded, ThePageHasThePictureAndWhatEscapes) {
  const std::string page = grade_html(grade(drumlin(), ask_for("survey", false)));
  EXPECT_THAT(page, HasSubstr("<svg"));
  EXPECT_THAT(page, HasSubstr("<h2>Caught</h2>"));
  EXPECT_THAT(page, HasSubstr("over-rev"));
}

}  // namespace
}  // namespace tachproof
