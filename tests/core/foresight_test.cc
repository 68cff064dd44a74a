// What a scenario will not decide, said before it is played.
#include "core/plan/foresight.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "core/judge/judge.h"
#include "tests/core/gauges.h"

namespace tachproof {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

const Gauge gauge = test::small_gauge();

// Steady above 4000, blinking above 5000; else as the small gauge.
Gauge flashing_top() {
  Gauge g = gauge;
  g.windows[1].cue = {g.channel("right", "magenta"), 0};
  g.windows[2].cue = {0, g.channel("right", "magenta")};
  return g;
}

Profile ramps(double rate) {
  const std::vector<Step> steps{
      Hold{2500, ns_per_s},
      Repeat{2, {RampByRate{5200, rate}, Hold{5200, ns_per_s}, RampByRate{2500, rate}}}};
  return Profile(steps);
}

const ForeseenThreshold& row(const Foresight& f, std::size_t boundary, Direction d) {
  return f.thresholds.at(2 * (boundary - 1) + (d == Direction::falling ? 1 : 0));
}

TEST(Foresight, SlowRampsDecideEveryThreshold) {
  const Foresight f = foresee(gauge, ramps(20));
  ASSERT_EQ(f.thresholds.size(), 4u);
  for (const ForeseenThreshold& t : f.thresholds) {
    EXPECT_EQ(t.crossings, 2);
    EXPECT_TRUE(t.decided) << t.expected_uncertainty_rpm;
    EXPECT_EQ(t.advice, "");
    EXPECT_GT(t.expected_uncertainty_rpm, 0.1);
  }
  EXPECT_THAT(f.not_visited, IsEmpty());
  EXPECT_THAT(warnings(gauge, f), IsEmpty());
}

TEST(Foresight, ExpectsWhatASoundUnitsRunThenStates) {
  for (const double rate : {20.0, 60.0}) {
    const Profile profile = ramps(rate);
    Judge judge(gauge, {});
    for (const Segment& segment : profile.segments()) judge.rpm(segment);
    judge.lamps(test::SampledUnit{}.watch(gauge, profile));
    const RunResult result = judge.finish(profile.duration());
    const Foresight f = foresee(gauge, profile);
    for (const BoundaryResult& stated : result.boundaries)
      for (const ForeseenThreshold& t : f.thresholds)
        if (gauge.windows[t.boundary].name == stated.boundary && t.direction == stated.direction) {
          if (std::isnan(stated.expanded_uncertainty_rpm)) {
            EXPECT_FALSE(t.decided) << stated.remark;
            continue;
          }
          EXPECT_GT(t.expected_uncertainty_rpm, 0.4 * stated.expanded_uncertainty_rpm);
          EXPECT_LT(t.expected_uncertainty_rpm, 2.5 * stated.expanded_uncertainty_rpm);
        }
  }
}

TEST(Foresight, FastRampsSayHowSlowTwoMustBeAndThatTwoAreEnough) {
  const Foresight f = foresee(gauge, ramps(300));
  const ForeseenThreshold& t = row(f, 1, Direction::rising);
  EXPECT_FALSE(t.decided);
  EXPECT_GT(t.expected_uncertainty_rpm, gauge.tolerance.rpm);
  ASSERT_THAT(t.advice, HasSubstr(" rpm/s across 3000 rpm, both ways"));
  const double rate = std::stod(t.advice.substr(t.advice.find("at most ") + 8));
  EXPECT_GT(rate, 5);
  EXPECT_LT(rate, 150);
  // The advice taken.
  std::vector<Step> steps{Hold{2500, ns_per_s}, RampByRate{5200, 300}, Hold{5200, ns_per_s},
                          RampByRate{2500, 300}, Hold{2500, ns_per_s}};
  for (int i = 0; i < 2; ++i)
    for (const Step& s : std::vector<Step>{RampByRate{2960, 300}, RampByRate{3040, rate},
                                           RampByRate{5200, 300}, Hold{5200, ns_per_s}, RampByRate{3030, 300},
                                           RampByRate{2950, rate}, RampByRate{2500, 300}})
      steps.push_back(s);
  const Foresight after = foresee(gauge, Profile(steps));
  EXPECT_TRUE(row(after, 1, Direction::rising).decided);
  EXPECT_TRUE(row(after, 1, Direction::falling).decided);
}

// Forty boundaries, all crossed alike.
TEST(Foresight, BoundariesThatAreCrossedAlikeGetOneAdviceAndItIsEnough) {
  Gauge ladder = gauge;
  ladder.windows.resize(1);
  for (int i = 1; i <= 40; ++i)
    ladder.windows.push_back(
        {"w" + std::to_string(i), 2940.0 + 60 * i, i % 2 == 0 ? Cue{} : gauge.windows[1].cue});
  std::vector<Step> steps{Hold{2500, ns_per_s}, RampByRate{5500, 300}, Hold{5500, ns_per_s},
                          RampByRate{2500, 300}, Hold{2500, ns_per_s}};
  const Foresight before = foresee(ladder, Profile(steps));
  const std::string& advice = row(before, 1, Direction::rising).advice;
  ASSERT_THAT(advice, HasSubstr("at most "));
  const double rate = std::stod(advice.substr(advice.find("at most ") + 8));
  for (std::size_t b = 1; b <= 40; ++b)
    EXPECT_THAT(row(before, b, Direction::falling).advice,
                HasSubstr(advice.substr(advice.find("at most "), 12)));
  for (int i = 0; i < 2; ++i)
    for (const Step& s : std::vector<Step>{RampByRate{5500, rate}, RampByRate{2500, rate}})
      steps.push_back(s);
  for (const ForeseenThreshold& t : foresee(ladder, Profile(steps)).thresholds)
    EXPECT_TRUE(t.decided) << t.boundary << ": " << t.expected_uncertainty_rpm;
}

TEST(Foresight, StepsTellNoThreshold) {
  const std::vector<Step> steps{Hold{2500, ns_per_s}, StepTo{5200}, Hold{5200, ns_per_s}, StepTo{2500},
                                Hold{2500, ns_per_s}};
  const Foresight f = foresee(gauge, Profile(steps));
  EXPECT_THAT(row(f, 2, Direction::falling).advice,
              HasSubstr("only steps cross it: add two ramps of at most "));
  EXPECT_TRUE(std::isnan(row(f, 2, Direction::falling).expected_uncertainty_rpm));
  EXPECT_THAT(warnings(gauge, f),
              ElementsAre(HasSubstr("boundary near cannot be decided: only steps cross it"),
                          HasSubstr("boundary top cannot be decided: only steps cross it")));
}

TEST(Foresight, WhatIsNotCrossedIsSaid) {
  const std::vector<Step> steps{Hold{2500, ns_per_s}, RampByRate{3200, 10}, Hold{3200, ns_per_s}};
  const Foresight f = foresee(gauge, Profile(steps));
  EXPECT_THAT(f.not_visited, ElementsAre(2u));
  EXPECT_TRUE(row(f, 1, Direction::rising).decided);
  EXPECT_THAT(row(f, 1, Direction::falling).advice,
              HasSubstr("the profile never crosses it downwards: add two ramps of at most "));
  EXPECT_THAT(row(f, 1, Direction::falling).advice, HasSubstr(" rpm/s across 2992 rpm, downwards"));
  EXPECT_THAT(
      f.rests,
      ElementsAre(
          "window top blinks, and the profile never rests in it: add a hold in it of 700.0 ms or more"));
}

TEST(Foresight, ARestOfLessThanThreeBlinksIsSaid) {
  const std::vector<Step> steps{Hold{2500, ns_per_s}, RampByRate{5100, 3000}, Hold{5200, 500 * ns_per_ms},
                                RampByRate{2500, 3000}};
  const Foresight f = foresee(gauge, Profile(steps));
  ASSERT_EQ(f.rests.size(), 1u);
  EXPECT_THAT(f.rests[0], HasSubstr("at most, less than 3 blinks: add a hold in it of 700.0 ms or more"));
}

TEST(Foresight, ABoundaryOfBlinkingOnlyAsksForASlowRampOrTwoRests) {
  const Gauge g = flashing_top();
  // 100 ms of a lit phase, at 100 rpm/s: 10 rpm.
  const Foresight fast = foresee(g, ramps(100));
  const ForeseenThreshold& up = row(fast, 2, Direction::rising);
  EXPECT_NEAR(up.expected_uncertainty_rpm, 10, 1e-6);
  EXPECT_FALSE(up.decided);
  EXPECT_THAT(up.advice,
              HasSubstr("its two sides differ only in blinking, and at 100 rpm/s that leaves 10.0 rpm open; "
                        "2.5 rpm is allowed: add a ramp of at most 12 rpm/s across 5000 rpm, both ways"));
  EXPECT_TRUE(row(foresee(g, ramps(15)), 2, Direction::falling).decided);
  const std::vector<Step> steps{Hold{2500, ns_per_s}, RampByRate{4999, 1000}, Hold{4999, ns_per_s},
                                StepTo{5001}, Hold{5001, ns_per_s}};
  EXPECT_NEAR(row(foresee(g, Profile(steps)), 2, Direction::rising).expected_uncertainty_rpm, 1, 1e-6);
}

TEST(Foresight, AWantedUncertaintyIsWhatCounts) {
  ForesightSetup setup;
  setup.within_rpm = 0.05;
  EXPECT_FALSE(row(foresee(gauge, ramps(20), setup), 1, Direction::rising).decided);
}

}  // namespace
}  // namespace tachproof
