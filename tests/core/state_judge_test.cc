#include "core/judge/state_judge.h"

#include <gmock/gmock.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <set>

#include "tests/core/pressed_unit.h"

namespace tachproof {
namespace {

using test::judged_pressed;
using test::pressed_gauge;
using test::PressedUnit;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

// Up and down past the windows that hang from the pit anchor, at two rates.
void cross(std::vector<Step>& steps, double pit) {
  for (const double rate : {40.0, 160.0}) {
    steps.push_back(RampByRate{pit + 500, rate});
    steps.push_back(Hold{pit + 500, 500 * ns_per_ms});
    steps.push_back(RampByRate{pit - 400, rate});
    steps.push_back(Hold{pit - 400, 500 * ns_per_ms});
  }
}

Profile taken_at(double rpm, double crossed_at) {
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}, RampByTime{rpm, ns_per_s},
                          Hold{rpm, 500 * ns_per_ms},  Press{"set", 200 * ns_per_ms},
                          Hold{rpm, 500 * ns_per_ms},  RampByTime{crossed_at - 400, ns_per_s}};
  cross(steps, crossed_at);
  return Profile(steps);
}

std::vector<FindingKind> failing(const RunResult& result) {
  std::vector<FindingKind> kinds;
  for (const Finding& f : result.findings)
    if (verdict_of(f.kind) == Verdict::fail) kinds.push_back(f.kind);
  return kinds;
}

RunResult run(const Profile& profile, const PressedUnit& unit = {}) {
  const Gauge gauge = pressed_gauge();
  return judged_pressed(gauge, profile, unit.watch(gauge, profile));
}

TEST(StateJudge, ATakeMovesEveryBoundaryOfItsAnchor) {
  const RunResult result = run(taken_at(4210, 4210));
  for (const auto& f : result.findings) ADD_FAILURE() << f.message;
  ASSERT_EQ(result.presses.size(), 1U);
  EXPECT_EQ(result.presses[0].verdict, Verdict::pass) << result.presses[0].remark;
  EXPECT_EQ(result.presses[0].refused, false);
  EXPECT_NEAR(result.presses[0].taken_rpm, 4210, result.presses[0].expanded_uncertainty_rpm);
  for (const BoundaryResult& row : result.boundaries)
    if (row.boundary == "beyond" && row.state == "after set 1 at 4210 rpm" &&
        row.direction == Direction::rising) {
      EXPECT_DOUBLE_EQ(row.nominal_rpm, 4210);
    }
}

TEST(StateJudge, APressThatIsIgnoredIsOneFinding) {
  PressedUnit unit;
  unit.ignores = true;
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}, RampByTime{4210, ns_per_s},
                          Hold{4210, 500 * ns_per_ms}, Press{"set", 200 * ns_per_ms},
                          Hold{4210, 500 * ns_per_ms}, RampByTime{3200, ns_per_s}};
  for (const double rate : {40.0, 160.0}) {
    steps.push_back(RampByRate{4800, rate});
    steps.push_back(RampByRate{3200, rate});
  }
  const RunResult result = run(Profile(steps), unit);
  EXPECT_EQ(result.verdict, Verdict::fail);
  EXPECT_THAT(failing(result), ElementsAre(FindingKind::press_ignored));
  EXPECT_EQ(result.presses.at(0).refused, true);
}

// Pressed at these rpm, one after another; after each the boundaries are passed where the unit may have them.
Profile pressed_at(const std::vector<double>& all) {
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}};
  for (const double rpm : all) {
    steps.insert(steps.end(),
                 {RampByTime{rpm, ns_per_s}, Hold{rpm, 500 * ns_per_ms}, Press{"set", 200 * ns_per_ms},
                  Hold{rpm, 500 * ns_per_ms}, RampByTime{1800, ns_per_s}});
    for (const double rate : {100.0, 400.0})
      steps.insert(steps.end(), {RampByRate{5200, rate}, Hold{5200, 500 * ns_per_ms}, RampByRate{1800, rate},
                                 Hold{1800, 500 * ns_per_ms}});
  }
  return Profile(steps);
}

std::set<std::string> states_of(const RunResult& result) {
  std::set<std::string> states;
  for (const BoundaryResult& row : result.boundaries) states.insert(row.state);
  return states;
}

TEST(StateJudge, EveryPressThatIsIgnoredIsOneFinding) {
  PressedUnit unit;
  unit.ignores = true;
  const RunResult result = run(pressed_at({4210, 4400, 2900}), unit);
  EXPECT_THAT(failing(result), ElementsAre(FindingKind::press_ignored, FindingKind::press_ignored,
                                           FindingKind::press_ignored));
  for (const PressResult& press : result.presses) {
    EXPECT_EQ(press.verdict, Verdict::fail);
    EXPECT_EQ(press.refused, true);
    EXPECT_TRUE(std::isnan(press.taken_rpm));
  }
  // What the unit has is judged, and is as it should be.
  for (const BoundaryResult& row : result.boundaries) {
    EXPECT_NE(row.verdict, Verdict::fail) << row.boundary << row.state;
    if (row.boundary == "beyond" && row.direction == Direction::rising) {
      EXPECT_DOUBLE_EQ(row.nominal_rpm, 3720) << row.state;
    }
  }
  EXPECT_THAT(states_of(result), testing::Contains("after set 2 at 4400 rpm, not taken"));
}

TEST(StateJudge, APressThatHadToBeRefusedIsJudgedOnWhereItWent) {
  PressedUnit unit;
  unit.never_refuses = true;
  const RunResult result = run(pressed_at({2300, 4300, 2250}), unit);
  EXPECT_THAT(failing(result), ElementsAre(FindingKind::press_not_refused, FindingKind::press_not_refused));
  EXPECT_EQ(result.presses.at(1).verdict, Verdict::pass) << result.presses.at(1).remark;
  for (const BoundaryResult& row : result.boundaries)
    EXPECT_NE(row.verdict, Verdict::fail) << row.boundary << row.state;
  EXPECT_THAT(states_of(result), testing::Contains("after set 1 at 2300 rpm, taken all the same"));
}

TEST(StateJudge, ATakeAtAnotherRpmIsFollowedFromThere) {
  PressedUnit unit;
  unit.takes_off_by = -40;
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}, RampByTime{4210, ns_per_s},
                          Hold{4210, 500 * ns_per_ms}, Press{"set", 200 * ns_per_ms},
                          Hold{4210, 500 * ns_per_ms}, RampByTime{3700, ns_per_s}};
  cross(steps, 4180);
  steps.insert(steps.end(),
               {RampByTime{4150, ns_per_s}, Press{"glow", 200 * ns_per_ms}, Hold{4150, ns_per_s}});
  const std::size_t before = failing(run(Profile(steps), unit)).size();
  cross(steps, 4180);
  EXPECT_EQ(failing(run(Profile(steps), unit)).size(), before);
}

// Nothing was passed between the presses: what came later tells both.
TEST(StateJudge, WhatNoLampShowedAtFirstIsFoundLater) {
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}};
  for (const double rpm : {4000.0, 4400.0})
    steps.insert(steps.end(), {RampByTime{rpm, ns_per_s}, Hold{rpm, 500 * ns_per_ms},
                               Press{"set", 200 * ns_per_ms}, Hold{rpm, 700 * ns_per_ms}});
  steps.push_back(RampByTime{3200, ns_per_s});
  for (const double rate : {100.0, 400.0}) {
    steps.push_back(RampByRate{5200, rate});
    steps.push_back(RampByRate{3200, rate});
  }
  PressedUnit unit;
  unit.ignores = true;
  EXPECT_THAT(failing(run(Profile(steps), unit)),
              ElementsAre(FindingKind::press_ignored, FindingKind::press_ignored));
  const RunResult sound = run(Profile(steps));
  EXPECT_THAT(failing(sound), IsEmpty());
  EXPECT_EQ(sound.presses.at(0).verdict, Verdict::undecided) << "the second press hides it";
  EXPECT_EQ(sound.presses.at(1).verdict, Verdict::pass) << sound.presses.at(1).remark;
}

TEST(StateJudge, APressIsDecidedAfterTheLampsWereDimmed) {
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}, RampByTime{4210, ns_per_s},
                          Hold{4210, 500 * ns_per_ms}, Press{"set", 200 * ns_per_ms},
                          Hold{4210, 300 * ns_per_ms}, Press{"glow", 200 * ns_per_ms},
                          Hold{4210, 500 * ns_per_ms}, RampByTime{3800, ns_per_s}};
  cross(steps, 4210);
  const RunResult sound = run(Profile(steps));
  EXPECT_EQ(sound.presses.at(0).verdict, Verdict::pass) << sound.presses.at(0).remark;
  EXPECT_NEAR(sound.presses.at(0).taken_rpm, 4210, 2);
  PressedUnit unit;
  unit.ignores = true;
  EXPECT_THAT(failing(run(Profile(steps), unit)), ElementsAre(FindingKind::press_ignored));
}

// One boundary is 8 rpm too high, whatever is taken: that is not the buttons' fault.
TEST(StateJudge, ABoundaryThatIsOffIsNotThePresses) {
  PressedUnit unit;
  unit.limit_off_by = 8;
  for (const bool ignores : {false, true}) {
    unit.ignores = ignores;
    const RunResult result = run(pressed_at({4210, 4400}), unit);
    std::set<std::string> wrong;
    for (const BoundaryResult& row : result.boundaries)
      if (row.verdict == Verdict::fail) wrong.insert(row.boundary);
    EXPECT_THAT(wrong, ElementsAre("on-limit"));
    EXPECT_EQ(std::ranges::count(failing(result), FindingKind::press_ignored), ignores ? 2 : 0);
    EXPECT_EQ(std::ranges::count(failing(result), FindingKind::wrong_take), 0);
    for (const PressResult& press : result.presses)
      EXPECT_EQ(press.verdict, ignores ? Verdict::fail : Verdict::pass) << press.remark;
  }
}

TEST(StateJudge, OutsideTheRangeNothingMayChange) {
  EXPECT_EQ(run(taken_at(2300, 3720)).presses.at(0).verdict, Verdict::pass);
  PressedUnit unit;
  unit.never_refuses = true;
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}, RampByTime{2300, ns_per_s},
                          Hold{2300, 500 * ns_per_ms}, Press{"set", 200 * ns_per_ms},
                          Hold{2300, 500 * ns_per_ms}};
  for (const double rate : {40.0, 160.0}) {
    steps.push_back(RampByRate{4400, rate});
    steps.push_back(RampByRate{1800, rate});
  }
  const RunResult result = run(Profile(steps), unit);
  EXPECT_EQ(result.verdict, Verdict::fail);
  EXPECT_THAT(failing(result), ElementsAre(FindingKind::press_not_refused));
}

TEST(StateJudge, AnotherRpmThanThatOfThePressIsMeasured) {
  PressedUnit unit;
  unit.takes_off_by = -40;
  const RunResult result = run(taken_at(4210, 4180), unit);
  EXPECT_EQ(result.verdict, Verdict::fail);
  EXPECT_THAT(failing(result), ElementsAre(FindingKind::wrong_take));
  EXPECT_NEAR(result.presses.at(0).taken_rpm, 4170, 3);
  for (const BoundaryResult& row : result.boundaries)
    if (!row.state.empty()) {
      EXPECT_EQ(row.verdict, Verdict::pass) << row.boundary << row.state;
      EXPECT_THAT(row.state, HasSubstr("after set 1 at 4210 rpm, taken at 41"));
    }
}

TEST(StateJudge, TooNearTheLimitOfTheRangeIsUndecided) {
  const RunResult result = run(taken_at(5500, 5400));
  EXPECT_EQ(result.presses.at(0).verdict, Verdict::undecided);
  EXPECT_EQ(result.verdict, Verdict::undecided);
}

Profile power_cut(bool take) {
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}, RampByTime{4000, ns_per_s},
                          Hold{4000, 500 * ns_per_ms}};
  if (take) {
    steps.push_back(Press{"set", 200 * ns_per_ms});
    steps.push_back(Hold{4000, 500 * ns_per_ms});
    steps.push_back(RampByTime{3600, ns_per_s});
    cross(steps, 4000);
    steps.push_back(RampByTime{3950, ns_per_s});
    steps.push_back(Hold{3950, 500 * ns_per_ms});
  }
  steps.push_back(PowerOff{2 * ns_per_s});
  steps.push_back(Hold{take ? 3950.0 : 4000.0, 4 * ns_per_s});
  steps.push_back(RampByTime{3300, ns_per_s});
  cross(steps, take ? 3900 : 3720);
  return Profile(steps);
}

TEST(StateJudge, AUnitWakesGreetsAndKeepsWhatItMust) {
  for (const bool take : {false, true}) {
    const RunResult result = run(power_cut(take));
    for (const auto& f : result.findings) ADD_FAILURE() << f.message;
    ASSERT_EQ(result.powers.size(), 1U);
    EXPECT_EQ(result.powers[0].verdict, Verdict::pass) << result.powers[0].remark;
    EXPECT_NEAR(result.powers[0].boot_ms, 700, 2);
    EXPECT_NEAR(result.powers[0].greeted_ms, 600, 60);
  }
}

TEST(StateJudge, WhatIsLostOverPowerIsOneFinding) {
  PressedUnit unit;
  unit.loses = true;
  EXPECT_THAT(failing(run(power_cut(true), unit)), ElementsAre(FindingKind::settings_lost));
}

// It went back to boundaries that are not passed any more: that no lamp changes is no dead bench.
TEST(StateJudge, WhatIsLostIsFoundWhereNoLampChanges) {
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}};
  cross(steps, 3720);
  steps.insert(steps.end(),
               {RampByTime{2700, ns_per_s}, Hold{2700, 500 * ns_per_ms}, Press{"set", 200 * ns_per_ms},
                Hold{2700, 500 * ns_per_ms}, RampByTime{2300, ns_per_s}});
  cross(steps, 2700);
  steps.insert(steps.end(), {RampByTime{2650, ns_per_s}, Hold{2650, 500 * ns_per_ms}, PowerOff{2 * ns_per_s},
                             Hold{2650, 4 * ns_per_s}, RampByTime{2300, ns_per_s}});
  cross(steps, 2700);
  PressedUnit unit;
  unit.loses = true;
  EXPECT_THAT(failing(run(Profile(steps), unit)), ElementsAre(FindingKind::settings_lost));
  EXPECT_THAT(failing(run(Profile(steps))), IsEmpty());
}

TEST(StateJudge, SettingsThatAreOffAfterPowerAreOneFindingWithItsSize) {
  PressedUnit unit;
  unit.comes_back_off_by = 25;
  for (const bool take : {false, true}) {
    unit.loses = take;
    const RunResult result = run(power_cut(take), unit);
    if (!take) {
      // Nothing was measured before the cut.
      EXPECT_THAT(failing(result), ElementsAre(FindingKind::settings_lost));
      EXPECT_NEAR(result.powers.at(0).off_rpm, 25, 2);
    } else {
      EXPECT_THAT(failing(result), ::testing::Contains(FindingKind::settings_lost));
    }
  }
}

// Until it answers it may be as before or as afterwards, and nothing else.
TEST(StateJudge, WhatNeitherStateAllowsIsFoundWhileTheUnitAnswers) {
  PressedUnit unit;
  unit.strange = pressed_gauge().windows[5].cue.steady;  // of `shift`
  const RunResult taken = run(taken_at(4210, 4210), unit);
  EXPECT_THAT(failing(taken), ElementsAre(FindingKind::wrong_cue));
  EXPECT_THAT(taken.findings.at(0).message,
              HasSubstr("blue, right magenta was lit from 2.000 s for 120.0 ms, after 'set' was pressed at "
                        "2.000 s: neither the boundaries before that nor those after it allow this"));
  unit.strange = pressed_gauge().windows[4].cue.steady;  // of `running`, above this rpm
  EXPECT_THAT(failing(run(power_cut(false), unit)), ElementsAre(FindingKind::wrong_cue));
}

TEST(StateJudge, TheResultSaysWhichStateTheUnitWasIn) {
  PressedUnit unit;
  unit.ignores = true;
  const RunResult result = run(pressed_at({4210, 4400}), unit);
  ASSERT_EQ(result.states.size(), 3U);
  EXPECT_EQ(result.states[0].state, "");
  EXPECT_EQ(result.states[2].state, "after set 2 at 4400 rpm, not taken");
  EXPECT_TRUE(result.states[2].taken.empty());
  const RunResult sound = run(pressed_at({4210, 4400}));
  ASSERT_EQ(sound.states.size(), 3U);
  ASSERT_EQ(sound.states[2].taken.size(), 1U);
  EXPECT_EQ(sound.states[2].taken[0].boundary, "beyond");
  EXPECT_DOUBLE_EQ(sound.states[2].taken[0].rpm, 4400);
  EXPECT_DOUBLE_EQ(sound.states[2].taken[0].doubt_rpm, 0.5);
  EXPECT_EQ(sound.states[1].to, sound.states[2].from);
  EXPECT_GT(sound.states[2].judged_from, sound.states[2].from);
  EXPECT_DOUBLE_EQ(in_state(pressed_gauge(), sound.states[2]).windows[1].from_rpm, 4140);
  const std::vector<Step> unpressed{Hold{2000, ns_per_s}};
  EXPECT_TRUE(run(Profile(unpressed)).states.empty());
}

TEST(StateJudge, ASlowBootAndAWrongGreetingAreFound) {
  PressedUnit slow;
  slow.boots = 1700 * ns_per_ms;
  EXPECT_THAT(failing(run(power_cut(false), slow)), ::testing::Contains(FindingKind::slow_boot));
  PressedUnit wrong;
  wrong.greets_wrong = true;
  EXPECT_THAT(failing(run(power_cut(false), wrong)), ElementsAre(FindingKind::wrong_greeting));
}

Profile dimming() {
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}, RampByTime{3650, ns_per_s},
                          Hold{3650, 500 * ns_per_ms}};
  for (int i = 0; i < 3; ++i) {
    steps.push_back(Press{"glow", 200 * ns_per_ms});
    steps.push_back(Hold{3650, 2 * ns_per_s});
  }
  return Profile(steps);
}

TEST(StateJudge, EachLevelIsMeasuredByTheLampsShareOfTime) {
  const Gauge gauge = pressed_gauge();
  const Profile profile = dimming();
  const RunResult result = judged_pressed(gauge, profile, PressedUnit{}.watch(gauge, profile), false);
  ASSERT_EQ(result.dims.size(), 3U);
  for (const DimResult& row : result.dims) EXPECT_EQ(row.verdict, Verdict::pass) << row.remark << row.level;
  PressedUnit never;
  never.dims = false;
  const RunResult undimmed = judged_pressed(gauge, profile, never.watch(gauge, profile), false);
  EXPECT_NE(undimmed.verdict, Verdict::pass);
}

TEST(StateJudge, ThePeakCountsFromWhereItWasCleared) {
  StateJudge judge(pressed_gauge(), {});
  judge.rpm({Segment::Shape::constant, {0, 0}, 1, 6000, 0, 0, 0});
  judge.pressed("high", ns_per_s, 100 * ns_per_ms);
  judge.rpm({Segment::Shape::constant, {ns_per_s, 0}, 1, 3000, 0, 0, 0});
  EXPECT_EQ(judge.peaks(2 * ns_per_s), (std::vector<PeakSpan>{{6000, 6000}}));
  judge.pressed("high", 2 * ns_per_s, 100 * ns_per_ms);
  judge.rpm({Segment::Shape::constant, {2 * ns_per_s, 0}, 1, 3100, 0, 0, 0});
  EXPECT_EQ(judge.peaks(3 * ns_per_s), (std::vector<PeakSpan>{{3100, 3100}}));
}

// Any sequence of presses, cuts and ramps: a unit that does as its file says never fails, and one with a
// fault of its buttons never passes what it did wrong.
RC_GTEST_PROP(StateJudge, AgreesWithAPlainStateMachine, ()) {
  const Gauge gauge = pressed_gauge();
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}};
  const int events = *rc::gen::inRange(1, 5);
  for (int i = 0; i < events; ++i) {
    const double rpm = *rc::gen::inRange(2200, 5800);
    steps.push_back(RampByTime{rpm, ns_per_s});
    steps.push_back(Hold{rpm, 500 * ns_per_ms});
    switch (*rc::gen::inRange(0, 4)) {
      case 0: steps.push_back(PowerOff{*rc::gen::inRange(400, 3000) * ns_per_ms}); break;
      case 1: steps.push_back(Press{"glow", 100 * ns_per_ms}); break;
      default: steps.push_back(Press{"set", 200 * ns_per_ms}); break;
    }
    steps.push_back(Hold{rpm, *rc::gen::inRange(200, 4000) * ns_per_ms});
    for (int k = *rc::gen::inRange(0, 3); k > 0; --k)
      steps.push_back(RampByRate{static_cast<double>(*rc::gen::inRange(2000, 6000)), 300});
  }
  const Profile profile(steps);
  PressedUnit unit;
  unit.dims =
      false;  // a lamp dimmed for less than three cycles is a matter of the dimming filter's own tests
  unit.response = *rc::gen::inRange(0, 115) * ns_per_ms;
  unit.boots = *rc::gen::inRange(200, 1500) * ns_per_ms;
  const RunResult healthy = judged_pressed(gauge, profile, unit.watch(gauge, profile), false);
  for (const Finding& f : healthy.findings) RC_LOG() << f.message << "\n";
  RC_ASSERT(failing(healthy).empty());
  RC_ASSERT(healthy.verdict != Verdict::fail);
}

}  // namespace
}  // namespace tachproof
