// What the holds of a dwell are worth, and how long its sequential test takes.
#include "core/plan/hold_evidence.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>

#include "core/base/random.h"
#include "core/base/rate_test.h"
#include "core/plan/dwell.h"

namespace tachproof {
namespace {

// A rate that falls off as that of a deadband under normal noise does, with chance in it.
MeanShape bell(double width_rpm) {
  std::vector<double> rates;
  for (int i = -40; i <= 40; ++i) rates.push_back(100 * std::exp(-i * i * 0.125 / (width_rpm * width_rpm)));
  return {rates, 40, 0.5};
}

RC_GTEST_PROP(MeanShape, NeverGrowsOutwardsAndIsOneAtTheWorstMean, ()) {
  const auto counts = *rc::gen::container<std::vector<int>>(21, rc::gen::inRange(0, 1000));
  std::vector<double> rates(counts.begin(), counts.end());
  const MeanShape shape(rates, 10, 0.5);
  RC_ASSERT(shape.share(0) == 1);
  for (const double side : {-1.0, 1.0}) {
    double before = 1;
    for (double off = 0; off < 7; off += 0.19) {
      const double share = shape.share(side * off);
      RC_ASSERT(share >= 0);
      RC_ASSERT(share <= before);
      before = share;
    }
  }
}

// Of a bell between means half a step apart; a straight line would be 0.028 too low.
TEST(MeanShape, IsRoundAtTheTop) {
  EXPECT_NEAR(bell(1).share(0.25), std::exp(-0.25 * 0.25 / 2), 0.01);
  EXPECT_NEAR(bell(1).share(-1.25), std::exp(-1.25 * 1.25 / 2), 0.01);
}

TEST(MeanShape, OfADeadbandHalfAsWideFallsOffTwiceAsFast) {
  for (const double off : {-2.3, 0.7, 4.0})
    EXPECT_DOUBLE_EQ(bell(2).scaled(0.5).share(off), bell(2).share(2 * off));
}

TEST(MeanShape, SaysNothingWhereNothingFlickered) {
  const MeanShape shape(std::vector<double>(21, 0.0), 10, 0.5);
  EXPECT_EQ(shape.share(3), 1);
}

TEST(HoldOffsets, AreTheMiddleAloneUnlessItsEndsAreWorthMore) {
  EXPECT_EQ(hold_offsets(bell(2), 0.5).size(), 1u);
  EXPECT_EQ(hold_offsets(bell(0.5), 4).size(), 3u) << "at the ends hardly anything would be seen";
}

RC_GTEST_PROP(HoldOffsets, AreWorthNoLessThanTheMiddleAlone, ()) {
  const MeanShape shape = bell(*rc::gen::inRange(5, 50) * 0.1);
  const double u = *rc::gen::inRange(0, 80) * 0.1;
  RC_ASSERT(shape.least_share(hold_offsets(shape, u), u) >= shape.least_share({0}, u));
}

RC_GTEST_PROP(HoldEvidence, IsWorthNoMoreThanItsTimeAndNoMoreThanAtTheTrueWorstMean, ()) {
  const double u = *rc::gen::inRange(0, 40) * 0.1;
  const MeanShape shape = bell(*rc::gen::inRange(5, 50) * 0.1);
  HoldEvidence seen;
  const int stays = *rc::gen::inRange(1, 8);
  std::vector<double> means;
  for (int i = 0; i < stays; ++i) {
    means.push_back(3600 + *rc::gen::inRange(-30, 31) * 0.1);
    seen.begin_stay(means.back());
    seen.stayed(0, 0.5);
  }
  const double worth = seen.worth_min(shape, 3600, u);
  RC_ASSERT(worth >= 0);
  RC_ASSERT(worth <= seen.minutes());
  // The truth may be at any place of the span's grid.
  const double truth = 3600 + u * *rc::gen::inRange(-8, 9) / 8;
  double there = 0;
  for (const double mean : means) there += 0.5 * shape.share(mean - truth);
  RC_ASSERT(worth <= there + 1e-9);
}

TEST(HoldEvidence, AChangeThatAMoveHasCausedProvesNoFail) {
  HoldEvidence seen;
  for (int move = 0; move < 20; ++move) {
    seen.begin_stay(3600 + move % 2);
    seen.stayed(1, 1);
  }
  EXPECT_EQ(seen.cycles_to_fail(), 0);
  EXPECT_EQ(seen.cycles_to_pass(), 10);
  EXPECT_EQ(seen.changes(), 20u);
  seen.stayed(5, 1);
  EXPECT_EQ(seen.cycles_to_fail(), 2);
}

// A hold that moves between means, one of which or none is the worst; the unit
// flickers at `rate` per minute there, as a Poisson process.
Verdict held(double rate, const RateTest& test, const MeanShape& shape, double off, double u,
             Random& random) {
  HoldEvidence seen;
  const double step_min = test.earliest_pass_min() / 60;
  double planned = 0;
  for (std::size_t stay = 0; planned < test.planned_min(); ++stay) {
    const std::vector<double> offsets = hold_offsets(shape, u);
    const double mean = offsets[stay % offsets.size()];
    seen.begin_stay(mean);
    std::uint64_t cycles = 0;
    for (int i = 1; i <= 20 && planned < test.planned_min(); ++i, planned += step_min) {
      double left = rate * shape.share(mean - off) * step_min;
      while ((left += std::log(1 - random.uniform())) > 0) ++cycles;
      seen.stayed(2 * cycles, step_min * i);
      if (test.is_over(seen.cycles_to_fail(), seen.minutes(), false)) return Verdict::fail;
      if (test.is_under(seen.cycles_to_pass(), seen.worth_min(shape, 0, u), false)) return Verdict::pass;
    }
  }
  return Verdict::undecided;
}

TEST(HoldEvidence, PassesAndFailsWronglyNoMoreOftenThanAHoldAtTheWorstMean) {
  const RateTest test(30, 0.95, 5);
  const MeanShape shape = bell(2);
  Random random(4, 1);
  const int units = 600;
  int passes = 0, fails = 0;
  for (int i = 0; i < units; ++i) {
    const double u = 2 * random.uniform(), off = u * (2 * random.uniform() - 1);
    const Verdict verdict = held(30, test, shape, off, u, random);
    passes += verdict == Verdict::pass ? 1 : 0;
    fails += verdict == Verdict::fail ? 1 : 0;
  }
  // 2.5 % each by Ville's inequality, and three standard deviations of this count.
  EXPECT_LE(passes, units * 0.025 + 3 * std::sqrt(units * 0.025));
  EXPECT_LE(fails, units * 0.025 + 3 * std::sqrt(units * 0.025));
}

TEST(RateTest, TakesAsLongAsWaldsExpectedSampleNumberSays) {
  const RateTest test(30, 0.95, 1000);
  Random random(5, 1);
  for (const double rate : {2.0, 8.0, 120.0, 400.0}) {
    double sum = 0;
    const int units = 300;
    for (int i = 0; i < units; ++i) {
      double minutes = 0;
      const double step = 2e-3;
      for (std::uint64_t n = 0; test.decide(n, minutes) == Verdict::undecided; minutes += step) {
        double left = rate * step;
        while ((left += std::log(1 - random.uniform())) > 0) ++n;
      }
      sum += minutes;
    }
    // A whole event more than the line asks for is the overshoot that it leaves out.
    const double mean = sum / units;
    EXPECT_GE(mean, 0.9 * test.expected_min(rate)) << rate;
    EXPECT_LE(mean, 1.1 * test.expected_min(rate) + 1 / rate) << rate;
  }
  EXPECT_TRUE(std::isinf(test.expected_min(35)));
}

}  // namespace
}  // namespace tachproof
