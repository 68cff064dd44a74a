// Causes of failed runs in which the unit was pressed and lost its supply: of its buttons, of all else, of
// both.
#include <gmock/gmock.h>

#include <array>
#include <string>

#include "core/cause/diagnosis.h"
#include "core/judge/expected_states.h"
#include "tests/bench/fed_run.h"

namespace tachproof {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;

const Profile& pressed_profile() {
  static const Profile profile(load_scenario(test::shipped("scenarios/buttons.yaml")).steps);
  return profile;
}

// Everything that hangs from the pit anchor is passed slowly, wherever a take of this run may put it.
Profile whole_profile() {
  std::vector<Step> steps{Hold{2000, ns_per_s}};
  const auto sweep = [&] {
    steps.insert(steps.end(), {RampByTime{2100, 2 * ns_per_s}, Hold{2100, 500 * ns_per_ms}});
    for (const double rate : {100.0, 400.0})
      steps.insert(steps.end(), {RampByRate{5000, rate}, Hold{5000, 500 * ns_per_ms}, RampByRate{2100, rate},
                                 Hold{2100, 500 * ns_per_ms}});
  };
  sweep();
  for (const double rpm : {4210.0, 5600.0, 2700.0}) {
    steps.insert(steps.end(), {RampByTime{rpm, 2 * ns_per_s}, Hold{rpm, 500 * ns_per_ms},
                               Press{"set", 200 * ns_per_ms}, Hold{rpm, 500 * ns_per_ms}});
    sweep();
  }
  steps.insert(steps.end(), {RampByTime{2640, 2 * ns_per_s}, Hold{2640, 500 * ns_per_ms},
                             PowerOff{2 * ns_per_s}, Hold{2640, 5 * ns_per_s}});
  sweep();
  return Profile(steps);
}

struct CausesTold {
  std::vector<std::string> kinds;
  Cause cause;
  std::string findings;
};

CausesTold causes_told(const std::vector<FaultSetting>& faults, const Profile& profile = pressed_profile()) {
  const test::FedPlay play = test::fed_play(faults, profile);
  const Diagnosis diagnosis = diagnose(test::fed_gauge(), {{play.result, play.evidence}});
  CausesTold out;
  for (const Finding& finding : play.result.findings) out.findings += finding.message + "\n";
  if (diagnosis.causes.list.empty()) {
    out.findings += diagnosis.causes.none;
    return out;
  }
  out.cause = diagnosis.causes.list.front();
  for (const CauseChange& change : out.cause.changes) out.kinds.push_back(change.kind);
  return out;
}

double number_in(const Cause& cause, std::size_t change, const std::string& key) {
  for (const auto& [name, value] : cause.changes.at(change).numbers)
    if (name == key) return value;
  return not_measured;
}

TEST(PressedCauses, ASoundUnitHasNone) {
  const test::FedPlay play = test::fed_play({}, pressed_profile());
  EXPECT_EQ(play.result.verdict, Verdict::pass);
  for (const Finding& finding : play.result.findings) ADD_FAILURE() << finding.message;
}

TEST(PressedCauses, EveryFaultOfButtonsAndSupplyIsNamed) {
  const std::vector<FaultSetting> faults{
      {"take-ignored", {}, {}},
      {"take-not-refused", {}, {}},
      {"take-other-end", {}, {}},
      {"take-late", {}, {{"by_ms", 600}}},
      {"take-lost", {}, {}},
      {"settings-reset", {}, {{"by_rpm", 25}}},
      {"dim-missing", {}, {{"level", 55}}},
      {"slow-boot", {}, {{"by_ms", 2500}}},
      {"greets-wrong", {{"lamp", "top"}}, {}},
  };
  for (const FaultSetting& fault : faults) {
    const CausesTold one = causes_told({fault});
    EXPECT_THAT(one.kinds, ElementsAre(fault.kind)) << one.cause.text << "\n" << one.findings;
    EXPECT_TRUE(one.cause.whole()) << fault.kind << "\n" << one.findings;
  }
}

TEST(PressedCauses, TheirSizesHaveTheirUncertainty) {
  const CausesTold late = causes_told({{"take-late", {}, {{"by_ms", 600}}}});
  ASSERT_FALSE(late.kinds.empty());
  EXPECT_NEAR(number_in(late.cause, 0, "by_ms"), 600,
              number_in(late.cause, 0, "expanded_uncertainty_ms") + 20);
  const CausesTold reset = causes_told({{"settings-reset", {}, {{"by_rpm", 25}}}});
  ASSERT_FALSE(reset.kinds.empty());
  EXPECT_NEAR(number_in(reset.cause, 0, "by_rpm"), 25,
              number_in(reset.cause, 0, "expanded_uncertainty_rpm") + 0.5);
  const CausesTold boot = causes_told({{"slow-boot", {}, {{"by_ms", 2500}}}});
  ASSERT_FALSE(boot.kinds.empty());
  EXPECT_GT(number_in(boot.cause, 0, "by_ms"), 1000);
  const CausesTold level = causes_told({{"dim-missing", {}, {{"level", 55}}}});
  ASSERT_FALSE(level.kinds.empty());
  EXPECT_DOUBLE_EQ(number_in(level.cause, 0, "level"), 55);
  EXPECT_THAT(level.cause.text, HasSubstr("The unit leaves out the level of 55 %"));
}

// It refuses what it has to take and takes what it has to refuse, by the rpm of a second ago.
TEST(PressedCauses, OneThatTakesTheRpmOfASecondAgoIsNamedThoughItsPressesGoWrongInManyWays) {
  for (const double by_ms : {1000.0, 1300.0, 800.0}) {
    const CausesTold late = causes_told({{"take-late", {}, {{"by_ms", by_ms}}}});
    EXPECT_THAT(late.kinds, ElementsAre("take-late")) << late.cause.text << "\n" << late.findings;
    if (late.kinds.empty()) continue;
    EXPECT_NEAR(number_in(late.cause, 0, "by_ms"), by_ms,
                number_in(late.cause, 0, "expanded_uncertainty_ms") + 20);
    EXPECT_TRUE(late.cause.whole());
  }
}

TEST(PressedCauses, ABoundaryThatIsOffBesideSoundButtonsIsTheBoundary) {
  const CausesTold one =
      causes_told({{"boundary-moved", {{"boundary", "on-limit"}}, {{"by_rpm", 8}}}}, whole_profile());
  EXPECT_THAT(one.kinds, ElementsAre("boundary-moved")) << one.cause.text << "\n" << one.findings;
  EXPECT_TRUE(one.cause.whole());
  EXPECT_NEAR(number_in(one.cause, 0, "by_rpm"), 8,
              number_in(one.cause, 0, "expanded_uncertainty_rpm") + 0.1);
}

TEST(PressedCauses, BothAreNamedWhereBothAreWrong) {
  const CausesTold both =
      causes_told({{"boundary-moved", {{"boundary", "on-limit"}}, {{"by_rpm", 8}}}, {"take-ignored", {}, {}}},
                  whole_profile());
  EXPECT_THAT(both.kinds, ElementsAre("boundary-moved", "take-ignored")) << both.cause.text << "\n"
                                                                         << both.findings;
  EXPECT_TRUE(both.cause.whole());
  EXPECT_THAT(both.cause.text, HasSubstr("; the unit did not take the rpm when its button was pressed"));
  const CausesTold dark =
      causes_told({{"stuck-off", {{"lamp", "left"}}, {}}, {"take-ignored", {}, {}}}, whole_profile());
  EXPECT_THAT(dark.kinds, ElementsAre("lamp-dark", "take-ignored")) << dark.cause.text << "\n"
                                                                    << dark.findings;
}

}  // namespace
}  // namespace tachproof
