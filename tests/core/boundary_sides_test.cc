#include "core/judge/boundary_sides.h"

#include <gtest/gtest.h>

#include "tests/core/gauges.h"
#include "tests/core/short_times.h"

namespace tachproof {
namespace {

constexpr ThresholdBounds::Responses at_once{0, 0.001};

// The top window is the one below it, blinking.
struct Sides {
  Gauge gauge = [] {
    Gauge g = test::small_gauge();
    g.windows[2].cue = {0, g.windows[1].cue.steady};
    return g;
  }();
  WindowReading reading{gauge, gauge.all_channels()};
  BoundarySides sides{gauge, reading, 0, 100 * ms};
  RpmHistory history{1};
  Channels white = gauge.windows[1].cue.steady;

  explicit Sides(std::vector<Step> steps) {
    const Profile profile(std::move(steps));
    for (const Segment& segment : profile.segments()) history.add(segment);
  }
};

TEST(BoundarySides, AChangeOfPictureBoundsTheThresholdByTheRpmThatItCameAt) {
  Sides one({RampByRate{4000, 100}});  // 3000 rpm at 30 s
  one.sides.changed(0, 1, 30 * s, false, one.history);
  EXPECT_TRUE(one.sides.saw_clearly(30 * s));
  EXPECT_FALSE(one.sides.saw_clearly(29 * s));
  const auto found = one.sides.bounds()[1].between(Direction::rising, at_once, at_once, at_once);
  ASSERT_TRUE(found.known());
  EXPECT_NEAR(found.low_rpm, 3000, 1);
  EXPECT_NEAR(found.high_rpm, 3000, 1);
}

TEST(BoundarySides, ADisturbedChangeBoundsNothing) {
  Sides one({RampByRate{4000, 100}});
  one.sides.changed(0, 1, 30 * s, true, one.history);
  EXPECT_FALSE(one.sides.bounds()[1].between(Direction::rising, at_once, at_once, at_once).known());
}

TEST(BoundarySides, WhereBlinkingAloneDiffersADarkLampProvesTheSide) {
  Sides one({Hold{4900, 10 * s}, StepTo{5010}, Hold{5010, 10 * s}});
  ASSERT_TRUE(one.sides.longest_phase(2));
  EXPECT_FALSE(one.sides.longest_phase(1));
  one.sides.span({0, 10 * s, one.white, 1, 2, false}, one.history);
  one.sides.span({10 * s, 11 * s, 0, 1, 2, false}, one.history);
  const auto found = one.sides.bounds()[2].between(Direction::rising, at_once, at_once, at_once);
  ASSERT_TRUE(found.known());
  EXPECT_GE(found.low_rpm, 4899);
  EXPECT_LE(found.high_rpm, 5011);
}

// Up at once, down late: just after it came up it has not looked whether to go down yet.
TEST(ThresholdBounds, AUnitThatIsQuickerUpIsNotTakenForOneThatStayedUp) {
  Sides one({RampByRate{6000, 1000}});
  ThresholdBounds bounds(200 * ms);
  const ThresholdBounds::Responses up{0.010, 0.020}, down{0.100, 0.150}, either{0.010, 0.150};
  bounds.seen(false, 4900 * ms, 4900 * ms, one.history);
  bounds.seen(true, 5015 * ms, 5015 * ms, one.history);  // it came up at 5000 rpm
  const auto falling = bounds.between(Direction::falling, down, either, either);
  EXPECT_GE(falling.high_rpm, 5000);
  const auto rising = bounds.between(Direction::rising, up, either, either);
  EXPECT_LE(rising.low_rpm, 5000);
  EXPECT_GE(rising.high_rpm, 5000);
}

}  // namespace
}  // namespace tachproof
