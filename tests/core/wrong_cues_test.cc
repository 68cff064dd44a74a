#include "core/judge/wrong_cues.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "core/judge/lamps_ever.h"
#include "tests/core/gauges.h"
#include "tests/core/short_times.h"

namespace tachproof {
namespace {

using testing::HasSubstr;

// The lamps are blue where window `near` wants white: no window's picture.
struct Blue {
  Gauge gauge = test::small_gauge();
  WindowReading reading{gauge, gauge.all_channels()};
  WrongCues cues{gauge, reading, gauge.all_channels()};
  Disturbances odd;

  WrongCues::Wrong wrong(Nanos from) const {
    return {from, gauge.channel("left", "blue"), false, false, 1, 1, 1, 3500};
  }
  std::optional<Finding> until(Nanos at) { return cues.end({at, false, false, 10 * ms, 0}, odd); }
};

TEST(WrongCues, AWrongColourIsAFindingWithItsLampAndTime) {
  Blue unit;
  unit.cues.begin(unit.wrong(2 * s));
  const std::optional<Finding> finding = unit.until(5 * s);
  ASSERT_TRUE(finding);
  EXPECT_EQ(finding->at, 2 * s);
  EXPECT_EQ(finding->lamp, "left");
  EXPECT_THAT(finding->message, HasSubstr("for 3.00 s at 3500 rpm"));
  EXPECT_FALSE(unit.cues.is_one());
}

TEST(WrongCues, AFlashThatNoOneCanSeeIsNone) {
  Blue unit;
  unit.cues.begin(unit.wrong(2 * s));
  EXPECT_FALSE(unit.until(2 * s + 50 * ns_per_us));
}

TEST(WrongCues, AnOddPulseExplainsAnotherWindowForAsLongAsItLastsAndNoLampsOfNoWindow) {
  Blue unit;
  unit.odd.add(2 * s, 2 * s + 200 * ms);
  WrongCues::Wrong dark = unit.wrong(2 * s);
  dark.lit = 0;
  dark.known = true;
  dark.window = 0;
  unit.cues.begin(dark);
  EXPECT_FALSE(unit.until(2 * s + 200 * ms));
  unit.cues.begin(dark);
  const std::optional<Finding> after = unit.until(3 * s);
  ASSERT_TRUE(after);
  EXPECT_EQ(after->at, 2 * s + 200 * ms);
  unit.cues.begin(unit.wrong(2 * s));
  EXPECT_TRUE(unit.until(2 * s + 200 * ms));
}

TEST(WrongCues, RightLampsAtTheWrongTimeAreTheBoundarysOwn) {
  Blue unit;
  WrongCues::Wrong dark = unit.wrong(2 * s);
  dark.lit = 0;
  dark.known = dark.from_demand = true;
  dark.window = 0;
  unit.cues.begin(dark);
  EXPECT_FALSE(unit.until(3 * s));
}

TEST(LampsEver, ALampThatWasWantedAndNeverSeenIsStuck) {
  LampsEver ever;
  ever.wanted(0b001, 0b010, 0b111);
  ever.seen(0b100, 0b111);
  EXPECT_EQ(ever.never_lit(), Channels{0b001});
  EXPECT_EQ(ever.never_dark(), Channels{0b100});
  ever.seen(0b001, 0b111);
  EXPECT_EQ(ever.never_lit(), Channels{0});
  EXPECT_EQ(ever.never_dark(), Channels{0});
}

}  // namespace
}  // namespace tachproof
