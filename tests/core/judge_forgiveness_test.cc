// What a disturbed signal excuses, and what it does not.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "core/judge/judge.h"
#include "tests/core/gauges.h"
#include "tests/core/judged.h"
#include "tests/core/short_times.h"

namespace tachproof {
namespace {

using test::judged;
using test::SampledUnit;
using test::small_gauge;
using testing::HasSubstr;

using Spans = std::vector<std::pair<Nanos, Nanos>>;

JudgeSetup asked(bool thresholds) {
  JudgeSetup setup;
  setup.what.thresholds = thresholds;
  return setup;
}

std::vector<Step> slow_and_fast() {
  std::vector<Step> steps{Hold{2800, s}};
  for (const double rate : {10.0, 10.0, 100.0})
    for (const double rpm : {3030.0, 2960.0}) {
      steps.push_back(RampByRate{rpm == 3030.0 ? 2960.0 : 3030.0, 1000});
      steps.push_back(RampByRate{rpm, rate});
      steps.push_back(Hold{rpm, s});
    }
  return steps;
}

// The same lamps, but another colour from..to.
std::vector<LampEvent> repainted(const std::vector<LampEvent>& events, Nanos from, Nanos to, Channels was,
                                 Channels is) {
  std::vector<LampEvent> out;
  Channels lit = 0;
  const auto show = [&](Nanos at, Channels raw) {
    lit = raw;
    const Channels shown = at >= from && at < to && (raw & was) ? (raw & ~was) | is : raw;
    if (out.empty() || out.back().lit != shown) out.push_back({at, shown});
  };
  bool begun = false, ended = false;
  for (const LampEvent& event : events) {
    if (!begun && event.at > from) {
      show(from, lit);
      begun = true;
    }
    if (!ended && event.at > to) {
      show(to, lit);
      ended = true;
    }
    show(event.at, event.lit);
  }
  if (!begun) show(from, lit);
  if (!ended) show(to, lit);
  return out;
}

TEST(Forgiveness, ARecordingThatBeginsWithTheWrongColourFails) {
  const Gauge gauge = small_gauge();
  const Profile profile{std::vector<Step>{Hold{4000, 20 * s}, RampByRate{2900, 100}, Hold{2900, s}}};
  const std::vector<LampEvent> sound = SampledUnit{}.watch(gauge, profile);
  const Channels white = gauge.channel("left", "white"), blue = gauge.channel("left", "blue");
  JudgeSetup setup = asked(false);
  setup.before = ExpectationOptions::Before::unknown;
  EXPECT_NE(judged(gauge, profile, sound, setup).verdict, Verdict::fail);
  const RunResult result = judged(gauge, profile, repainted(sound, 0, 20 * s, white, blue), setup);
  EXPECT_EQ(result.verdict, Verdict::fail);
}

TEST(Forgiveness, OneOddPulseDoesNotHideSecondsOfTheWrongColour) {
  const Gauge gauge = small_gauge();
  const Profile profile{
      std::vector<Step>{Hold{2900, s}, StepTo{4000}, Hold{4000, 10 * s}, StepTo{2900}, Hold{2900, s}}};
  const std::vector<LampEvent> sound = SampledUnit{}.watch(gauge, profile);
  const Spans odd{{5 * s, 5 * s + 200 * ms}};
  EXPECT_EQ(judged(gauge, profile, sound, asked(false), odd).verdict, Verdict::pass);
  const RunResult result = judged(gauge, profile, repainted(sound, 2 * s, 10 * s, 1, 2), asked(false), odd);
  ASSERT_EQ(result.verdict, Verdict::fail);
  // No window shows blue: no rpm that an odd pulse can make explains it.
  EXPECT_THAT(result.findings[0].message, HasSubstr("for 8.00 s"));
  const RunResult dark = judged(gauge, profile, repainted(sound, 2 * s, 10 * s, 1, 0), asked(false), odd);
  EXPECT_EQ(dark.verdict, Verdict::fail);
}

TEST(Forgiveness, AnOddPulseJustAtTheChangeDoesNotHideThatItCameASecondLate) {
  const Gauge gauge = small_gauge();
  const Profile profile{std::vector<Step>{Hold{2900, s}, RampByRate{3030, 10}, Hold{3030, 4 * s},
                                          RampByRate{2900, 10}, Hold{2900, s}}};
  const std::vector<LampEvent> sound = SampledUnit{}.watch(gauge, profile);
  std::vector<LampEvent> late = sound;
  ASSERT_GE(late.size(), 2u);
  LampEvent& rise = late[1];
  const Nanos due = rise.at;
  rise.at += 3 * s / 2;
  ASSERT_LT(rise.at, late[2].at);
  const Spans at_the_change{{rise.at - 100 * ms, rise.at + 100 * ms}},
      at_its_time{{due - 2 * s, due + 2 * s}};
  EXPECT_EQ(judged(gauge, profile, late, asked(false), at_the_change).verdict, Verdict::fail);
  EXPECT_NE(judged(gauge, profile, late, asked(false), at_its_time).verdict, Verdict::fail);
  EXPECT_NE(judged(gauge, profile, sound, asked(false), Spans{{due - 100 * ms, due + 100 * ms}}).verdict,
            Verdict::fail);
}

TEST(Forgiveness, WhatIsShownWhileThePulsesAreOddIsForgiven) {
  const Gauge gauge = small_gauge();
  const Profile profile{
      std::vector<Step>{Hold{2900, s}, StepTo{4000}, Hold{4000, 10 * s}, StepTo{2900}, Hold{2900, s}}};
  const std::vector<LampEvent> sound = SampledUnit{}.watch(gauge, profile);
  // A doubled pulse: for 60 ms the unit believes twice the rpm.
  std::vector<LampEvent> jumpy;
  for (const LampEvent& event : sound) {
    if (event.at > 5 * s && jumpy.back().at < 5 * s) {
      jumpy.push_back({5 * s + 40 * ms, gauge.windows[2].cue.steady});
      jumpy.push_back({5 * s + 100 * ms, 1});
    }
    jumpy.push_back(event);
  }
  EXPECT_EQ(judged(gauge, profile, jumpy).verdict, Verdict::fail);
  EXPECT_EQ(judged(gauge, profile, jumpy, asked(false), {{5 * s, 5 * s + 200 * ms}}).verdict, Verdict::pass);
  // One second later it was no longer odd.
  EXPECT_EQ(judged(gauge, profile, jumpy, asked(false), {{4 * s, 4 * s + 200 * ms}}).verdict, Verdict::fail);
}

TEST(Forgiveness, InADeadbandTheUnitMayStayWhereAnOddPulseLeftIt) {
  const Gauge gauge = small_gauge();
  // 2996 rpm is inside the deadband of 2992 to 3000: either side may be shown.
  const Profile profile{
      std::vector<Step>{Hold{2900, s}, Hold{2996, 10 * s}, RampByRate{2900, 10}, Hold{2900, s}}};
  const Nanos odd_at = 5 * s;
  std::vector<LampEvent> stays{{0, 0}, {odd_at + 50 * ms, 1}, {11 * s + 500 * ms, 0}};
  EXPECT_EQ(judged(gauge, profile, stays).verdict, Verdict::fail);
  EXPECT_EQ(judged(gauge, profile, stays, asked(false), {{odd_at, odd_at + 200 * ms}}).verdict,
            Verdict::pass);
  // But not for ever: under the falling threshold it has to go.
  std::vector<LampEvent> hangs{{0, 0}, {odd_at + 50 * ms, 1}};
  EXPECT_EQ(judged(gauge, profile, hangs, asked(false), {{odd_at, odd_at + 200 * ms}}).verdict,
            Verdict::fail);
}

TEST(Forgiveness, OddPulsesAtACrossingDoNotHideAThresholdThatIsOff) {
  const Gauge gauge = small_gauge();
  const Profile profile{slow_and_fast()};
  for (const double off : {-12.0, 12.0}) {
    SampledUnit unit;
    unit.threshold_error_rpm = off;
    const std::vector<LampEvent> events = unit.watch(gauge, profile);
    // Odd just when the lamps change, each time.
    Spans odd;
    for (const LampEvent& event : events)
      if (event.at > 0) odd.emplace_back(event.at - 10 * ms, event.at + 100 * ms);
    EXPECT_NE(judged(gauge, profile, events, asked(true), odd).verdict, Verdict::pass) << off;
    odd.resize(2);
    EXPECT_EQ(judged(gauge, profile, events, asked(true), odd).verdict, Verdict::fail) << off;
  }
  // A sound unit with one odd crossing is decided by the others.
  const std::vector<LampEvent> sound = SampledUnit{}.watch(gauge, profile);
  const Spans once{{sound[1].at - 10 * ms, sound[1].at + 100 * ms}};
  const RunResult result = judged(gauge, profile, sound, asked(true), once);
  EXPECT_THAT(result.notes, testing::Contains(HasSubstr("1 change was not judged")));
  for (const BoundaryResult& row : result.boundaries) EXPECT_EQ(row.verdict, Verdict::pass) << row.remark;
}

TEST(Forgiveness, MoreThanATenthOfTheTimeIsTooMuch) {
  const Gauge gauge = small_gauge();
  const Profile profile{
      std::vector<Step>{Hold{2900, s}, StepTo{4000}, Hold{4000, 10 * s}, StepTo{2900}, Hold{2900, s}}};
  const std::vector<LampEvent> sound = SampledUnit{}.watch(gauge, profile);
  Spans odd;
  for (Nanos at = 3 * s; at < 9 * s; at += 400 * ms) odd.emplace_back(at, at + 200 * ms);
  const RunResult result = judged(gauge, profile, sound, asked(false), odd);
  EXPECT_EQ(result.verdict, Verdict::undecided);
  EXPECT_THAT(result.findings[0].message, HasSubstr("% of the time"));
}

TEST(Forgiveness, ThresholdsThatOnlyStepsCrossAreUndecidedAndSayWhatIsKnown) {
  const Gauge gauge = small_gauge();
  std::vector<Step> steps{Hold{2900, s}};
  for (int i = 0; i < 3; ++i)
    for (const double rpm : {3100.0, 2900.0}) {
      steps.push_back(StepTo{rpm});
      steps.push_back(Hold{rpm, s});
    }
  const Profile profile{steps};
  SampledUnit unit;
  unit.threshold_error_rpm = 20;
  const RunResult result = judged(gauge, profile, unit.watch(gauge, profile), asked(true));
  EXPECT_EQ(result.verdict, Verdict::undecided);
  ASSERT_EQ(result.boundaries.size(), 2u);
  for (const BoundaryResult& row : result.boundaries) {
    EXPECT_TRUE(std::isnan(row.threshold_rpm));
    ASSERT_TRUE(row.between_rpm);
    EXPECT_EQ(row.between_rpm->low_rpm, 2900);
    EXPECT_EQ(row.between_rpm->high_rpm, 3100);
    EXPECT_THAT(row.remark, HasSubstr("add a ramp of at most"));
  }
  EXPECT_THAT(result.not_visited, testing::ElementsAre("top"));
  EXPECT_THAT(judged(gauge, profile, unit.watch(gauge, profile), asked(false)).not_asked,
              testing::ElementsAre("thresholds"));
}

}  // namespace
}  // namespace tachproof
