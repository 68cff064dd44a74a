// Boundaries whose two sides differ by blinking alone: how a hold is read, and
// how a threshold is bracketed.
#include "core/plan/survey_holds.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>

#include "tests/bench/survey_units.h"
#include "tests/core/short_times.h"

namespace tachproof {
namespace {

using Side = HoldReading::Side;

// Boundaries of flashing_ladder(): "flash" is from steady to blinking, "rest"
// from blinking to dark, "warn" from dark to blinking, "end" from blinking to steady.
class Holds : public testing::Test {
 protected:
  Side read(std::size_t boundary, const std::vector<LampEvent>& lamps, Nanos until = 0) const {
    const HoldReading reading(gauge, gauge.all_channels(), boundary);
    return reading.read(lamps, 0, until > 0 ? until : reading.least());
  }
  // `lit` for the duty's share of each period, from `first` on.
  static std::vector<LampEvent> blinking(Channels lit, Nanos first, Nanos on, Nanos off) {
    std::vector<LampEvent> out{{0, 0}};
    for (Nanos at = first; at < ns_per_s; at += on + off) {
      out.push_back({at, lit});
      out.push_back({at + on, 0});
    }
    return out;
  }

  const Gauge gauge = flashing_ladder();
  const Channels both = 3, far = 2;
};

TEST_F(Holds, OnlyBoundariesWhoseSidesSharePicturesAndDifferAreOfThisKind) {
  const WindowReading reading(gauge, gauge.all_channels());
  std::vector<std::size_t> found;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b)
    if (blink_only(reading, b)) found.push_back(b);
  EXPECT_EQ(found, (std::vector<std::size_t>{3, 4, 5, 6}));
}

TEST_F(Holds, LampsThatStayLitForLongerThanABlinkMayAreTheSteadyCue) {
  EXPECT_EQ(read(3, {{0, both}}), Side::below);
  EXPECT_EQ(read(6, {{0, far}}), Side::above);
}

TEST_F(Holds, LampsThatStayDarkForLongerThanABlinkMayAreTheDarkCue) {
  EXPECT_EQ(read(4, {{0, 0}}), Side::above);
  EXPECT_EQ(read(5, {{0, 0}}), Side::below);
}

TEST_F(Holds, ABlinkAtAnyPhaseIsTheBlinkingCue) {
  for (Nanos first = 0; first < 200 * ms; first += 7 * ms) {
    EXPECT_EQ(read(3, blinking(both, first, 100 * ms, 100 * ms)), Side::above) << first;
    EXPECT_EQ(read(4, blinking(both, first, 100 * ms, 100 * ms)), Side::below) << first;
    EXPECT_EQ(read(5, blinking(far, first, 100 * ms, 100 * ms)), Side::above) << first;
    EXPECT_EQ(read(6, blinking(far, first, 100 * ms, 100 * ms)), Side::below) << first;
  }
}

TEST_F(Holds, ABlinkAtTheSlowEndOfItsToleranceIsStillABlink) {
  // 4.5 Hz, duty 0.6: lit for 133.3 ms, dark for 88.9 ms.
  for (Nanos first = 0; first < 222 * ms; first += 3 * ms)
    EXPECT_EQ(read(3, blinking(both, first, 133 * ms, 89 * ms)), Side::above) << first;
}

TEST_F(Holds, WhatTheLampsShowedBeforeTheyHadToAnswerDoesNotCount) {
  // Changes 90 ms after the step, which is allowed: steady from then on.
  EXPECT_EQ(read(3, {{0, both}, {30 * ms, 0}, {90 * ms, both}}), Side::below);
}

TEST_F(Holds, AHoldThatIsTooShortTellsNothing) {
  EXPECT_EQ(read(3, {{0, both}}, 200 * ms), Side::either);
  EXPECT_EQ(read(3, {}, 500 * ms), Side::either);
}

TEST_F(Holds, AnotherCueThanTheTwoIsNeither) {
  EXPECT_EQ(read(3, {{0, far}}), Side::neither);
  // Lit and dark, but each for longer than the blink allows.
  EXPECT_EQ(read(3, blinking(both, 0, 300 * ms, 300 * ms), 900 * ms), Side::neither);
}

TEST_F(Holds, LampsOfOneBlinkMayMoveApartWithinTheSettlingTime) {
  std::vector<LampEvent> lamps;
  for (Nanos at = 0; at < 500 * ms; at += 200 * ms) {
    lamps.push_back({at, far});
    lamps.push_back({at + 6 * ms, both});
    lamps.push_back({at + 100 * ms, 1});
    lamps.push_back({at + 106 * ms, 0});
  }
  EXPECT_EQ(read(3, lamps), Side::above);
}

// ---- the search ---------------------------------------------------------------

// A unit that changes at `threshold_rpm`, asked until the search is over.
struct Asked {
  int passes = 0, holds = 0;
};
Asked search_for(ThresholdSearch& search, double threshold_rpm) {
  Asked asked;
  for (std::vector<double> pass = search.pass(); !pass.empty() && asked.passes < 50; pass = search.pass()) {
    std::vector<Side> sides;
    for (const double rpm : pass) {
      const bool above = rpm >= threshold_rpm;
      sides.push_back(above ? Side::above : Side::below);
    }
    ++asked.passes;
    asked.holds += static_cast<int>(pass.size());
    search.seen(pass, sides);
  }
  return asked;
}

TEST(ThresholdSearch, AThresholdWhereItIsSetTakesTwoHolds) {
  ThresholdSearch search(Direction::rising, 3300, 3296, 3304, 1.8);
  EXPECT_EQ(search.pass(), (std::vector<double>{3299.1, 3300.9}));
  EXPECT_EQ(search_for(search, 3299.5).passes, 1);
  ASSERT_TRUE(search.known());
  EXPECT_NEAR(search.bracket()->low_rpm, 3299.1, 1e-9);
  EXPECT_NEAR(search.bracket()->high_rpm, 3300.9, 1e-9);
}

TEST(ThresholdSearch, EveryPassGoesAwayFromTheOldSide) {
  ThresholdSearch search(Direction::falling, 3293, 3289, 3297, 1.8);
  EXPECT_EQ(search.pass(), (std::vector<double>{3293.9, 3292.1}));
}

TEST(ThresholdSearch, FindsThresholdsInAndFarOutsideTheRangeBothWays) {
  for (const Direction direction : {Direction::rising, Direction::falling})
    for (double off = -90; off <= 90; off += 0.7) {
      ThresholdSearch search(direction, 3300, 3296, 3304, 1.8);
      const Asked asked = search_for(search, 3300 + off);
      ASSERT_TRUE(search.known()) << off;
      EXPECT_LE(search.bracket()->low_rpm, 3300 + off);
      EXPECT_GE(search.bracket()->high_rpm, 3300 + off);
      EXPECT_LE(search.bracket()->half_width_rpm(), 1);
      EXPECT_LE(asked.passes, std::abs(off) < 4 ? 2 : 7) << off;
    }
}

TEST(ThresholdSearch, ABracketThatIsKnownFromElsewhereIsDivided) {
  ThresholdSearch search(Direction::rising, 3300, 3100, 3500, 1.8);
  search.old_side_at(3100);
  search.new_side_at(3500);
  EXPECT_LE(search_for(search, 3217.3).holds, 24);
  EXPECT_NEAR(search.bracket()->middle_rpm(), 3217.3, 1);
}

TEST(ThresholdSearch, AUnitThatNeverChangesIsGivenUp) {
  for (const Direction direction : {Direction::rising, Direction::falling}) {
    ThresholdSearch search(direction, 3300, 3296, 3304, 1.8);
    search_for(search, direction == Direction::rising ? 1e9 : -1e9);
    EXPECT_TRUE(search.given_up());
    EXPECT_FALSE(search.known());
    EXPECT_FALSE(search.bracket().has_value());
  }
}

TEST(ThresholdSearch, HoldsThatTellNothingEndIt) {
  ThresholdSearch search(Direction::rising, 3300, 3296, 3304, 1.8);
  int passes = 0;
  for (; !search.pass().empty() && passes < 20; ++passes)
    search.seen(search.pass(), std::vector<Side>(search.pass().size(), Side::neither));
  EXPECT_LT(passes, 5);
  EXPECT_TRUE(search.given_up());
}

TEST(ThresholdSearch, SidesThatContradictEachOtherAreAskedAgain) {
  ThresholdSearch search(Direction::rising, 3300, 3296, 3304, 1.8);
  search.seen(std::vector<double>{3299.1, 3300.9}, std::vector<Side>{Side::below, Side::below});
  search.seen(std::vector<double>{3298}, std::vector<Side>{Side::above});
  EXPECT_FALSE(search.known());
  search_for(search, 3299.7);
  EXPECT_TRUE(search.known());
  EXPECT_NEAR(search.bracket()->middle_rpm(), 3299.7, 1);
}

}  // namespace
}  // namespace tachproof
