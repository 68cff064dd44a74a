// What differs between two gauges, as a person would say it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "core/gauge/settings_change.h"
#include "tests/core/gauges.h"

namespace tachproof {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

// small_gauge() with anchors: its boundaries hang on `limit`.
Gauge anchored(double limit) {
  Gauge g = test::small_gauge();
  g.anchors = {{"limit", limit}, {"roof", 9000}};
  g.windows[1].from_rpm = limit;
  g.windows.insert(g.windows.begin() + 2, Window{"far", limit + 500, {g.channel("right", "magenta"), 0}});
  g.windows.push_back({"last", 8000, {}});
  return g;
}

std::vector<std::string> said(const Gauge& before, const Gauge& after) {
  return sentences(settings_change(before, after));
}

TEST(SettingsChange, SaysNothingOfTheSameSettings) {
  EXPECT_THAT(said(anchored(3000), anchored(3000)), IsEmpty());
}

TEST(SettingsChange, SaysWhichBoundariesMoveWithAnAnchor) {
  EXPECT_THAT(said(anchored(3000), anchored(3060)),
              ElementsAre("anchor limit moves up 60 rpm (3000 to 3060): near, far move with it",
                          "everything above 3560 rpm unchanged"));
  EXPECT_THAT(said(anchored(3000), anchored(2999.5)),
              ElementsAre("anchor limit moves down 0.5 rpm (3000 to 2999.5): near, far move with it",
                          "everything above 3500 rpm unchanged"));
}

TEST(SettingsChange, SaysAnAnchorThatNothingHangsOn) {
  Gauge after = anchored(3000);
  after.anchors[1].second = 9100;
  EXPECT_THAT(said(anchored(3000), after),
              ElementsAre("anchor roof moves up 100 rpm (9000 to 9100): no boundary moves with it",
                          "everything else unchanged"));
}

TEST(SettingsChange, SaysABoundaryThatMovesAlone) {
  Gauge after = anchored(3000);
  after.windows[3].from_rpm = 4990;
  EXPECT_THAT(said(anchored(3000), after),
              ElementsAre("top moves down 10 rpm (5000 to 4990)", "everything below 4982 rpm unchanged",
                          "everything above 5000 rpm unchanged"));
}

TEST(SettingsChange, SaysWhatHoldsEverywhereAndLeavesItOutOfUnchanged) {
  Gauge after = anchored(3060);
  after.deadband = {9, Sits::centred};
  after.blink = Blink{4, 0.25};
  EXPECT_THAT(said(anchored(3000), after),
              ElementsAre("anchor limit moves up 60 rpm (3000 to 3060): near, far move with it",
                          "deadband 8 to 9 rpm", "blink 5 to 4 Hz", "blink duty 0.5 to 0.25",
                          "deadband sits centred on the boundary, no longer below the boundary",
                          "apart from deadband, blink, blink duty, where the deadband sits, everything above "
                          "3564.5 rpm unchanged"));
}

TEST(SettingsChange, SaysCuesTolerancesAndLamps) {
  Gauge after = anchored(3000);
  after.windows[1].cue = {};
  after.pulses_per_rev = 3;
  after.tolerance.rpm = 5;
  after.tolerance.response_to = 80 * ns_per_ms;
  after.lamps.push_back({"rim", {"cyan"}});
  EXPECT_THAT(
      said(anchored(3000), after),
      ElementsAre("lamp rim is new: cyan", "near shows dark, no longer left white",
                  "pulses per revolution 2 to 3", "tolerance 3 to 5 rpm", "response at most 100 to 80 ms",
                  "apart from pulses per revolution, tolerance, response at most, everything above "
                  "3500 rpm unchanged"));
}

TEST(SettingsChange, SaysWindowsThatAreNewGoneOrRenamed) {
  Gauge after = anchored(3000);
  after.windows[1].name = "close";
  after.windows.erase(after.windows.begin() + 2);
  after.windows.push_back({"beyond", 9500, {after.channel("left", "blue"), 0}});
  EXPECT_THAT(
      said(anchored(3000), after),
      ElementsAre("window near is now called close", "window far is gone; it began at 3500 rpm",
                  "window beyond is new, from 9500 rpm: left blue", "everything below 3492 rpm unchanged"));
}

Gauge driven(Gauge g, double final_drive) {
  g.drive = Drive{{2.0, final_drive}, {{2.0, 0.005}}, {{"tyre_circumference", "2.0m"}}, SpeedUnit::kmh};
  g.tolerance.rpm = 0;
  return g;
}

TEST(SettingsChange, NamesAnotherDriveAndWhatItsAnchorsMeanNow) {
  Gauge before = driven(anchored(3000), 3), after = driven(anchored(3000), 3.75);
  before.anchors.pop_back();
  after.anchors.pop_back();
  EXPECT_THAT(said(before, after),
              ElementsAre("the drive is gear 2, final drive 3.75, tyre circumference 2.0m, no longer gear 2, "
                          "final drive 3, tyre circumference 2.0m: anchor limit stays at 3000 rpm and means "
                          "48.00 km/h +-0.24, no longer 60.00 km/h +-0.30",
                          "everything else unchanged"));
  EXPECT_THAT(said(anchored(3000), driven(anchored(3000), 3))[0],
              "the drive is new: gear 2, final drive 3, tyre circumference 2.0m");
}

TEST(SettingsChange, SaysWhatAnAnchorThatMovesMeans) {
  EXPECT_THAT(
      said(driven(anchored(3000), 3), driven(anchored(3060), 3))[0],
      "anchor limit moves up 60 rpm (3000 to 3060), from 60.00 km/h +-0.30 to 61.20 km/h +-0.31: near, far "
      "move with it");
}

RC_GTEST_PROP(SettingsChange, IsEmptyExactlyWhenNothingMoved, ()) {
  const int by = *rc::gen::inRange(-100, 101);
  Gauge after = anchored(3000);
  after.windows[3].from_rpm += by;
  RC_ASSERT(said(anchored(3000), after).empty() == (by == 0));
  const SettingsChange change = settings_change(anchored(3000), after);
  RC_ASSERT(change.windows[3].rising_rpm.by() == by);
  RC_ASSERT(change.windows[3].falling_rpm.by() == by);
}

}  // namespace
}  // namespace tachproof
