// The shortest scenario: what it catches, and that its file says the same.
#include "bench/run/plan_study.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "bench/files/files.h"
#include "tests/bench/random_gauge.h"
#include "tests/bench/scratch_file.h"

namespace tachproof {
namespace {

Gauge drumlin() {
  return load_gauge(std::filesystem::path(TACHPROOF_SOURCE_DIR) / "fixtures/gauges/drumlin.yaml");
}

ScenarioFile read_back(const std::string& yaml) {
  ScratchFile file("plan.yaml");
  std::ofstream(file.path()) << yaml;
  return load_scenario(file.path());
}

void expect_the_same(const Profile& a, const Profile& b) {
  ASSERT_EQ(a.segments().size(), b.segments().size());
  for (std::size_t i = 0; i < a.segments().size(); ++i) {
    EXPECT_EQ(a.segments()[i].start.whole, b.segments()[i].start.whole);
    EXPECT_EQ(a.segments()[i].rpm0, b.segments()[i].rpm0);
    EXPECT_EQ(a.segments()[i].slope_rpm_per_s, b.segments()[i].slope_rpm_per_s);
  }
}

TEST(Planned, TheDrumlinsPlanCatchesTheWholeListInAMinute) {
  const Gauge gauge = drumlin();
  PlanAsk ask;
  ask.most_trials = 8;
  const Plan plan = plan_scenario(gauge, ask);
  EXPECT_TRUE(plan.sound_units_pass) << plan.why;
  // A unit whose lamps never change is never failed: nobody could tell it from a dead watcher.
  for (const GradedFault& fault : plan.grade.faults) {
    if (fault.verdict == Verdict::fail) continue;
    EXPECT_EQ(fault.verdict, Verdict::undecided) << describe(fault.listed.fault, gauge);
    EXPECT_THAT(fault.why.clause, testing::StartsWith("no lamp changed in the whole run"));
  }
  EXPECT_LE(plan.grade.bench_time(), 60 * ns_per_s);
  EXPECT_LT(plan.grade.bench_time(), plan.careful_lasts);
  const ScenarioFile file = read_back(plan_yaml(plan));
  EXPECT_EQ(file.name, "plan");
  expect_the_same(Profile(file.steps), plan.scenario.profile);
}

TEST(Planned, TheWantedUncertaintyIsAskedFor) {
  PlanAsk ask;
  ask.within_rpm = 1;
  ask.most_trials = 0;
  const Plan plan = plan_scenario(drumlin(), ask);
  EXPECT_EQ(read_back(plan_yaml(plan)).judge.within_rpm, 1);
}

TEST(Planned, WithoutABoundaryThereIsNothingToPlan) {
  Gauge gauge = drumlin();
  gauge.windows.resize(1);
  EXPECT_THROW(plan_scenario(gauge, {}), std::invalid_argument);
}

// Two boundaries show little of how a unit scatters, and the usual profiles did not decide its response.
TEST(Planned, AGaugeOfTwoBoundariesGetsAsMuchPatienceAsItTakes) {
  Dice dice(41, 64);
  const Gauge gauge = random_gauge(dice);
  ASSERT_EQ(gauge.windows.size(), 3U);
  PlanAsk ask;
  ask.most_trials = 0;
  const Plan plan = plan_scenario(gauge, ask);
  EXPECT_TRUE(plan.sound_units_pass) << plan.why;
}

TEST(Planned, PlansOfRandomGaugesPassSoundUnitsAndReadBack) {
  int passed = 0;
  for (std::uint64_t number = 0; number < 2; ++number) {
    SCOPED_TRACE(number);
    Dice dice(21, number);
    Gauge gauge = random_gauge(dice);
    gauge.windows.resize(std::min<std::size_t>(gauge.windows.size(), 4));  // a plan of many takes a minute
    PlanAsk ask;
    ask.most_trials = 0;
    const Plan plan = plan_scenario(gauge, ask);
    if (plan.sound_units_pass) {
      EXPECT_EQ(plan.grade.scenarios[0].sound, Verdict::pass) << plan.grade.scenarios[0].why;
      ++passed;
    }
    expect_the_same(Profile(read_back(plan_yaml(plan)).steps), plan.scenario.profile);
  }
  EXPECT_GT(passed, 0);
}

}  // namespace
}  // namespace tachproof
