// A supply whose instants are known within a width only: cut by a person, or by a switch that takes its time.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <variant>

#include "core/base/text.h"
#include "tests/core/pressed_unit.h"

namespace tachproof {
namespace {

using test::PressedUnit;
using testing::HasSubstr;

constexpr Nanos ms = ns_per_ms;

// How a person does it: asked, done, said; in times before and after the cut and the return.
struct Person {
  Nanos asked = 300 * ms, said_off = 200 * ms;
  Nanos asked_back = 200 * ms, said_on = 300 * ms;
  bool cuts = true, says = true;
};

void cross(std::vector<Step>& steps) {
  for (const double rate : {60.0, 240.0})
    for (const double to : {4700.0, 3100.0}) {
      steps.push_back(RampByRate{to, rate});
      steps.push_back(Hold{to, 500 * ms});
    }
}

// A take, and a loss of power after it; or, where nobody cuts, none.
Profile profile_of(bool cut, double rpm, bool take) {
  std::vector<Step> steps{Hold{2000, 500 * ms}, RampByTime{3100, ns_per_s}};
  cross(steps);
  if (take) {
    steps.insert(steps.end(), {RampByTime{4000, ns_per_s}, Hold{4000, 500 * ms}, Press{"set", 200 * ms},
                               Hold{4000, 500 * ms}, RampByTime{3100, ns_per_s}});
    cross(steps);
  }
  steps.insert(steps.end(), {RampByTime{rpm, ns_per_s}, Hold{rpm, 700 * ms}, Hold{rpm, 300 * ms}});
  if (cut)
    steps.push_back(PowerOff{2 * ns_per_s});
  else
    steps.push_back(Hold{rpm, 2 * ns_per_s});
  steps.insert(steps.end(), {Hold{rpm, 4 * ns_per_s}, RampByTime{3100, ns_per_s}});
  cross(steps);
  return Profile(steps);
}

// What the lamps did, in the order in which a bench comes to know of it.
RunResult judged_by_hand(const Gauge& gauge, const PressedUnit& unit, const Person& person, bool take = true,
                         double rpm = 3950) {
  const Profile told = profile_of(true, rpm, take), done = profile_of(person.cuts, rpm, take);
  const std::vector<LampEvent> events = unit.watch(gauge, done);
  JudgeSetup setup;
  setup.bench.watcher.resolution = 50 * ns_per_us;
  StateJudge judge(gauge, setup);
  std::size_t next = 0;
  const auto see = [&](Nanos until) {
    std::vector<LampEvent> some;
    for (; next < events.size() && events[next].at <= until; ++next) some.push_back(events[next]);
    judge.lamps(some);
    judge.seen_until(until);
  };
  const auto& actions = told.actions();
  const Action& off = actions.back();
  const Nanos back = off.at + std::get<PowerOff>(off.what).lasts;
  bool asked = false, said = false;
  const PowerCut cut{off.at - person.asked, off.at + person.said_off, back - person.asked_back,
                     back + person.said_on, true};
  std::size_t action = 0;
  for (const Segment& segment : told.segments()) {
    const Nanos at = segment.start.whole;
    for (; action + 1 < actions.size() && actions[action].at <= at; ++action)
      if (const auto* press = std::get_if<Press>(&actions[action].what))
        judge.pressed(press->action, actions[action].at, press->lasts);
    if (!asked && at >= cut.off_from) {
      judge.cutting(at);
      asked = true;
    }
    judge.rpm(segment);
    if (!said && at + from_seconds(segment.lasts_s) >= cut.on_to) {
      see(cut.on_to);
      if (person.says) judge.cut(cut);
      said = true;
    }
    see(at + from_seconds(segment.lasts_s));
  }
  return judge.finish(told.duration());
}

bool has(const RunResult& result, FindingKind kind) {
  return std::any_of(result.findings.begin(), result.findings.end(),
                     [&](const Finding& f) { return f.kind == kind; });
}
std::string told(const RunResult& result) {
  std::string all(word(result.verdict));
  for (const Finding& f : result.findings) all += "\n" + f.message;
  for (const PowerResult& p : result.powers) all += "\n" + p.remark;
  for (const TransitionResult& t : result.transitions)
    if (t.asked && t.verdict != Verdict::pass)
      all += "\n" + t.boundary + " " + say_time(t.nominal) + ": " + t.remark;
  for (const BoundaryResult& b : result.boundaries)
    if (b.verdict != Verdict::pass) all += "\n" + b.boundary + " " + b.state + ": " + b.remark;
  return all;
}

TEST(PowerByHand, ASoundUnitPassesWithItsBootKnownWithinThePersonsTime) {
  const RunResult result = judged_by_hand(test::pressed_gauge(), {}, {});
  EXPECT_EQ(result.verdict, Verdict::pass) << told(result);
  ASSERT_EQ(result.powers.size(), 1U);
  EXPECT_NEAR(result.powers[0].boot_ms, 700, result.powers[0].expanded_uncertainty_ms);
  EXPECT_GT(result.powers[0].expanded_uncertainty_ms, 240);
}

TEST(PowerByHand, ABootNearItsLimitIsUndecidedAndOneFarBeyondFails) {
  PressedUnit unit;
  unit.boots = 1400 * ms;
  const RunResult near = judged_by_hand(test::pressed_gauge(), unit, {});
  EXPECT_EQ(near.verdict, Verdict::undecided) << told(near);
  EXPECT_THAT(near.powers.at(0).remark, HasSubstr("Let the rig switch the supply"));
  unit.boots = 2600 * ms;
  const RunResult late = judged_by_hand(test::pressed_gauge(), unit, {});
  EXPECT_EQ(late.verdict, Verdict::fail) << told(late);
  EXPECT_TRUE(has(late, FindingKind::slow_boot));
}

TEST(PowerByHand, AUnitThatForgetsItsTakeFails) {
  PressedUnit unit;
  unit.loses = true;
  const RunResult result = judged_by_hand(test::pressed_gauge(), unit, {});
  EXPECT_EQ(result.verdict, Verdict::fail);
  EXPECT_TRUE(has(result, FindingKind::settings_lost)) << told(result);
}

// Whether its takes are to be kept or not: that they are still there says nothing.
TEST(PowerByHand, APersonWhoDoesNotCutItIsNoPassAndNoFail) {
  Person idle;
  idle.cuts = false;
  for (const bool keeps : {true, false})
    for (const double rpm : {3950.0, 2000.0}) {
      Gauge gauge = test::pressed_gauge();
      if (!keeps) gauge.power_up->keeps.clear();
      const RunResult result = judged_by_hand(gauge, {}, idle, true, rpm);
      EXPECT_EQ(result.verdict, Verdict::undecided) << keeps << rpm << told(result);
      ASSERT_EQ(result.powers.size(), 1U);
      EXPECT_THAT(result.powers[0].remark, HasSubstr("that the supply was cut, but "));
    }
}

TEST(PowerByHand, APersonWhoSaysNothingIsNoPassAndNoFail) {
  Person silent;
  silent.says = false;
  const RunResult result = judged_by_hand(test::pressed_gauge(), {}, silent);
  EXPECT_EQ(result.verdict, Verdict::undecided) << told(result);
  EXPECT_THAT(told(result), HasSubstr("nobody says that the supply was cut"));
}

RC_GTEST_PROP(PowerByHand, NoSoundUnitFailsHoweverLongAPersonTakes, ()) {
  const auto upto = [](int most) { return *rc::gen::inRange(0, most) * ms; };
  Person person;
  person.asked = 300 * ms;
  person.said_off = upto(1500);
  person.asked_back = std::min<Nanos>(upto(600), 1900 * ms - person.said_off);
  person.said_on = upto(2500);
  person.cuts = *rc::gen::inRange(0, 5) > 0;
  PressedUnit unit;
  unit.boots = 200 * ms + upto(1300);
  unit.response = upto(100);
  const RunResult result = judged_by_hand(test::pressed_gauge(), unit, person, *rc::gen::arbitrary<bool>());
  RC_ASSERT(result.verdict != Verdict::fail);
  if (!person.cuts) RC_ASSERT(result.verdict == Verdict::undecided);
}

// A person who turns the knob of a supply: asked, done, said. The unit is fed 12.5 V before.
RunResult judged_set_by_hand(const PressedUnit& unit, double volts, Nanos asked, Nanos said,
                             bool says = true) {
  const Gauge gauge = test::pressed_gauge();
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}, RampByTime{3100, ns_per_s}};
  cross(steps);
  steps.insert(steps.end(), {RampByTime{3950, ns_per_s}, Hold{3950, 700 * ms}, Hold{3950, asked},
                             Supply{volts, volts, said}, Hold{3950, 1500 * ms}, RampByTime{3100, ns_per_s}});
  cross(steps);
  const Profile profile(steps);
  const std::vector<LampEvent> events = unit.watch(gauge, profile);
  JudgeSetup setup;
  setup.bench.watcher.resolution = 50 * ns_per_us;
  StateJudge judge(gauge, setup);
  judge.supplied({12.5, 12.5, 0}, 0);
  const Nanos done = profile.actions().front().at;
  bool is_asked = false, is_said = false;
  for (const Segment& segment : profile.segments()) {
    const Nanos at = segment.start.whole;
    if (!is_asked && at + 1 >= done - asked) {  // a ramp's end is rounded
      judge.supplying({volts, volts, 0}, at);
      is_asked = true;
    }
    judge.rpm(segment);
    if (at + 1 >= done && says && !is_said) {
      judge.supplied_by(done + said);
      is_said = true;
    }
  }
  judge.lamps(events);
  return judge.finish(profile.duration());
}

TEST(VoltageByHand, ASoundUnitPassesAtEachVoltage) {
  for (const double volts : {9.0, 16.0}) {
    const RunResult result = judged_set_by_hand({}, volts, 800 * ms, 1200 * ms);
    EXPECT_EQ(result.verdict, Verdict::pass) << told(result);
    EXPECT_TRUE(
        std::any_of(result.boundaries.begin(), result.boundaries.end(), [&](const BoundaryResult& row) {
          return row.state == (volts < 10 ? "at 9.0 V" : "at 16.0 V") && row.verdict == Verdict::pass;
        }));
  }
}

TEST(VoltageByHand, AUnitThatMovesWithItOrGoesDarkFails) {
  PressedUnit drifts, dark;
  drifts.drift_rpm_per_v = 4;
  dark.lowest_v = 10;
  const RunResult off = judged_set_by_hand(drifts, 9, 800 * ms, 1200 * ms);
  EXPECT_EQ(off.verdict, Verdict::fail);
  EXPECT_TRUE(has(off, FindingKind::supply_drift)) << told(off);
  const RunResult out = judged_set_by_hand(dark, 9, 800 * ms, 1200 * ms);
  EXPECT_EQ(out.verdict, Verdict::fail);
  EXPECT_TRUE(has(out, FindingKind::brown_out)) << told(out);
}

TEST(VoltageByHand, OneThatNobodySaysIsSetIsNoPassAndNoFail) {
  const RunResult result = judged_set_by_hand({}, 9, 800 * ms, 1200 * ms, false);
  EXPECT_EQ(result.verdict, Verdict::undecided) << told(result);
  EXPECT_THAT(told(result), HasSubstr("nobody says that the unit was fed 9.0 V"));
}

RC_GTEST_PROP(VoltageByHand, NoSoundUnitFailsHoweverLongAPersonTakes, ()) {
  const auto upto = [](int most) { return *rc::gen::inRange(1, most) * ms; };
  PressedUnit unit;
  unit.lowest_v = *rc::gen::inRange(30, 89) / 10.0;
  unit.response = 20 * ms + upto(80);
  unit.boots = 200 * ms + upto(1300);
  const double volts = *rc::gen::inRange(30, 190) / 10.0;
  const RunResult result = judged_set_by_hand(unit, volts, upto(3000), upto(3000));
  RC_LOG() << told(result) << "\n";
  RC_ASSERT(result.verdict != Verdict::fail);
  if (volts >= 9 && volts <= 16) RC_ASSERT(result.verdict == Verdict::pass);
}

// A switch of the bench that takes up to 300 ms: told beforehand, by the source.
TEST(PowerBySwitch, WhatTheSwitchTakesWidensTheBoot) {
  const Gauge gauge = test::pressed_gauge();
  for (const auto& [boots, verdict] :
       {std::pair(700 * ms, Verdict::pass), std::pair(1600 * ms, Verdict::undecided),
        std::pair(2500 * ms, Verdict::fail)}) {
    PressedUnit unit;
    unit.boots = boots;
    const Profile profile = profile_of(true, 3950, true);
    JudgeSetup setup;
    setup.bench.watcher.resolution = 50 * ns_per_us;
    setup.bench.source.switch_to = 300 * ms;
    StateJudge judge(gauge, setup);
    tell(judge, profile);
    judge.lamps(unit.watch(gauge, profile));
    const RunResult result = judge.finish(profile.duration());
    EXPECT_EQ(result.powers.at(0).verdict, verdict) << told(result);
  }
}

}  // namespace
}  // namespace tachproof
