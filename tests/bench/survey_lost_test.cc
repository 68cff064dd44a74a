// Surveys of units that are not those of the settings, or are wired wrongly: said
// after the first seconds, and over soon.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "bench/rigs/simulated/simulated_rig.h"
#include "bench/run/survey_run.h"
#include "core/plan/survey.h"
#include "tests/bench/drumlin_run.h"
#include "tests/bench/survey_units.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using testing::StartsWith;

struct Surveyed {
  RunResult result;
  std::string said;  // why it stopped; empty: it did not
  double seconds = 0;
};

class LostSurvey : public testing::Test {
 protected:
  LostSurvey() { behaviour.response_ms = 20; }

  Surveyed survey(const std::vector<FaultSetting>& faults = {}, bool to_the_end = false,
                  std::uint64_t seed = 7) {
    behaviour.faults = faults;
    Rig rig = simulated_rig(gauge, behaviour, gauge, seed);
    SurveySetup setup = survey_setup_of(rig, 1);
    setup.to_the_end = to_the_end;
    SurveyPlanner planner(gauge, setup);
    const SurveyEvidence evidence =
        play_survey([&](const SurveyView& view) { return planner.next(view); }, gauge.pulses_per_rev, rig,
                    nullptr, {}, wake_up(gauge, setup.judge.wired));
    Surveyed out;
    out.result = judge_evidence(gauge, setup.judge, evidence, nullptr);
    out.said = planner.stops_because().value_or("");
    out.seconds = to_seconds(out.result.duration);
    return out;
  }

  void expect_soon(const Surveyed& one, const std::string& what) const {
    EXPECT_NE(one.result.verdict, Verdict::pass) << what;
    EXPECT_LE(one.seconds, 1.5 * sound_s) << what << ": " << one.said;
  }

  Gauge gauge = drumlin::gauge();
  Behaviour behaviour;
  double sound_s = survey().seconds;
};

TEST_F(LostSurvey, SaysNothingOfASoundUnit) {
  const Surveyed sound = survey();
  EXPECT_EQ(sound.said, "");
  EXPECT_EQ(sound.result.verdict, Verdict::pass);
}

TEST_F(LostSurvey, WrongPulsesPerRevolutionAreNamed) {
  const std::pair<double, const char*> units[] = {{1.5, "1.50"}, {2, "2"}};
  for (const auto& [pulses, named] : units) {
    const Surveyed one = survey({{"wrong-pulses-per-rev", {}, {{"pulses_per_rev", pulses}}}});
    expect_soon(one, named);
    EXPECT_THAT(one.said, StartsWith("the lamps change where a unit set to "));
    EXPECT_THAT(one.said, HasSubstr(std::string(" ") + named + " "));
    EXPECT_THAT(one.said, HasSubstr("pulses per revolution changes them, and it should be 3; "));
    EXPECT_EQ(one.result.verdict, Verdict::fail) << pulses;
  }
}

TEST_F(LostSurvey, AUnitThatShowsItsHighestWindowEverywhereIsGivenUp) {
  const Surveyed one = survey({{"wrong-pulses-per-rev", {}, {{"pulses_per_rev", 1}}}});
  expect_soon(one, "1");
  EXPECT_THAT(one.said,
              StartsWith("the lamps do not follow as the settings say; all boundaries were given up"));
  EXPECT_EQ(one.result.verdict, Verdict::fail);
}

TEST_F(LostSurvey, AUnitThatIsDarkWhereverItIsAskedIsUndecided) {
  // 8050 rpm are 2012 rpm for it.
  const Surveyed one = survey({{"wrong-pulses-per-rev", {}, {{"pulses_per_rev", 12}}}});
  expect_soon(one, "12");
  EXPECT_EQ(one.result.verdict, Verdict::undecided);
  ASSERT_FALSE(one.result.findings.empty());
  EXPECT_THAT(one.result.findings[0].message, HasSubstr("its pulses per revolution"));
}

TEST_F(LostSurvey, AUnitThatIsLitForAMomentOnlyFails) {
  // 8000 rpm are 6000 rpm for it, where no lamp is lit; below it shows other windows than it must.
  const Surveyed one = survey({{"wrong-pulses-per-rev", {}, {{"pulses_per_rev", 4}}}});
  expect_soon(one, "4");
  EXPECT_THAT(one.said, StartsWith("the lamps do not follow as the settings say"));
  EXPECT_EQ(one.result.verdict, Verdict::fail);
}

TEST_F(LostSurvey, ADarkLampIsNamedAndTheOtherBoundariesAreMeasured) {
  for (const char* const lamp : {"left", "mid", "right", "top"}) {
    const Surveyed one = survey({{"stuck-off", {{"lamp", lamp}}, {}}});
    expect_soon(one, lamp);
    EXPECT_EQ(one.result.verdict, Verdict::fail) << lamp;
    if (!one.said.empty()) {
      EXPECT_THAT(one.said, HasSubstr(lamp));
    }
    int measured = 0;
    for (const BoundaryResult& row : one.result.boundaries)
      measured += row.visits > 0 && row.expanded_uncertainty_rpm <= 1 ? 1 : 0;
    EXPECT_GE(measured, 2) << lamp << ": " << one.said;
  }
}

// Two boundaries; the second lights a lamp that no other window lights.
Gauge two_lamps() {
  Gauge two;
  two.name = "Two lamps";
  two.pulses_per_rev = 2;
  two.lamps = {{"near", {"white"}}, {"far", {"magenta"}}};
  two.windows = {{"calm", 0, {}}, {"brisk", 3000, {1, 0}}, {"hasty", 4000, {3, 0}}};
  two.deadband = {10, Sits::below};
  two.tolerance.rpm = 3;
  two.tolerance.response_to = 120 * ns_per_ms;
  return two;
}

TEST_F(LostSurvey, ABoundaryThatIsElsewhereIsNotTakenForADarkLamp) {
  gauge = two_lamps();
  const Surveyed one = survey({{"boundary-moved", {{"boundary", "hasty"}}, {{"by_rpm", 40}}}});
  EXPECT_EQ(one.said, "");
  EXPECT_EQ(one.result.verdict, Verdict::fail);
  for (const BoundaryResult& row : one.result.boundaries)
    if (row.boundary == "hasty") {
      EXPECT_NEAR(row.threshold_rpm, row.nominal_rpm + 40, 1.5);
    }
}

TEST_F(LostSurvey, ADarkLampOfOneWindowIsNamedAfterAWiderLook) {
  gauge = two_lamps();
  const Surveyed one = survey({{"stuck-off", {{"lamp", "far"}}, {}}});
  EXPECT_THAT(one.said, StartsWith("the unit follows, but lamp far was never lit where it had to be; "));
  EXPECT_THAT(one.said, HasSubstr(": put that right and survey again"));
  EXPECT_EQ(one.result.verdict, Verdict::fail);
}

TEST_F(LostSurvey, SwappedLampsAreNamed) {
  const char* const lamps[] = {"left", "mid", "right"};
  for (const auto& [a, b] : {std::pair(0, 1), std::pair(0, 2), std::pair(1, 2)}) {
    const Surveyed one = survey({{"swapped-lamps", {{"lamp", lamps[a]}, {"with", lamps[b]}}, {}}});
    expect_soon(one, std::string(lamps[a]) + " and " + lamps[b]);
    EXPECT_EQ(one.result.verdict, Verdict::fail);
    if (!one.said.empty()) {
      EXPECT_THAT(one.said, HasSubstr("show what the other should"));
    }
  }
}

TEST_F(LostSurvey, GoesOnWhereItIsAskedTo) {
  const std::vector<FaultSetting> wrong = {{"wrong-pulses-per-rev", {}, {{"pulses_per_rev", 2}}}};
  const Surveyed one = survey(wrong, true);
  EXPECT_EQ(one.said, "");
  EXPECT_GT(one.seconds, 2 * sound_s);
  EXPECT_EQ(one.result.verdict, Verdict::fail);
}

TEST_F(LostSurvey, ABoundaryThatHasMovedFarIsStillFound) {
  for (const double by_rpm : {-60.0, 25.0, 60.0}) {
    const Surveyed one = survey({{"boundary-moved", {{"boundary", "running"}}, {{"by_rpm", by_rpm}}}});
    EXPECT_EQ(one.result.verdict, Verdict::fail);
    int found = 0;
    for (const BoundaryResult& row : one.result.boundaries)
      if (row.boundary == "running" && row.visits > 0) {
        EXPECT_NEAR(row.threshold_rpm - row.nominal_rpm, by_rpm, 3)
            << by_rpm << ": " << one.said << row.visits << " U " << row.expanded_uncertainty_rpm << row.remark
            << " " << one.seconds;
        ++found;
      }
    EXPECT_EQ(found, 2) << by_rpm;
  }
}

// Units whose settings are theirs, however noisy or slow they are, are never taken for others.
TEST_F(LostSurvey, SaysNothingOfRandomUnits) {
  for (std::uint64_t number = 1; number <= 40; ++number) {
    const RandomUnit unit = random_unit(number);
    with_simulated_rig(unit, number, [&](Rig& rig) {
      const SurveySetup setup = survey_setup_of(rig, 1);
      SurveyPlanner planner(gauge, setup);
      play_survey([&](const SurveyView& view) { return planner.next(view); }, gauge.pulses_per_rev, rig,
                  nullptr, {}, wake_up(gauge, setup.judge.wired));
      EXPECT_EQ(planner.stops_because().value_or(""), "") << number;
    });
  }
}

}  // namespace
}  // namespace tachproof
