// What is typed into a unit.
#include "core/gauge/settings_sheet.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "tests/core/gauges.h"

namespace tachproof {
namespace {

using testing::ElementsAre;

// quiet, near at limit - 100, far at limit, then three windows that count in to 8000.
Gauge counted() {
  Gauge g = test::small_gauge();
  g.anchors = {{"limit", 3000}, {"roof", 8000}};
  g.windows = {{"quiet", 0, {}},
               {"near", 2900, {g.channel("left", "white"), 0}, "limit"},
               {"far", 3000, {g.channel("left", "blue"), 0}, "limit"},
               {"count-in-1", 7400, {g.channel("left", "white"), 0}, "roof"},
               {"count-in-2", 7600, {g.channel("left", "blue"), 0}, "roof"},
               {"count-in-3", 7800, {g.channel("right", "magenta"), 0}, "roof"},
               {"last", 8000, {}, "roof"}};
  return g;
}

TEST(SettingsSheet, HasOffsetsFromAnchorsAndWidths) {
  const SettingsSheet sheet = settings_sheet(counted());
  ASSERT_EQ(sheet.anchors.size(), 2u);
  EXPECT_EQ(sheet.anchors[0].at.rpm, 3000);
  ASSERT_EQ(sheet.windows.size(), 7u);
  EXPECT_EQ(sheet.windows[0].anchor, "");
  EXPECT_EQ(sheet.windows[1].anchor, "limit");
  EXPECT_EQ(sheet.windows[1].offset_rpm, -100);
  EXPECT_EQ(sheet.windows[1].width_rpm, 100);
  EXPECT_EQ(sheet.windows[1].cue, "left white");
  EXPECT_EQ(sheet.windows[2].width_rpm, 4400);
  EXPECT_FALSE(sheet.windows[6].width_rpm);
  EXPECT_FALSE(sheet.windows[1].from.speed);  // nothing says how fast the car is
}

TEST(SettingsSheet, PutsACountInTogether) {
  const SettingsSheet sheet = settings_sheet(counted());
  ASSERT_EQ(sheet.count_ins.size(), 1u);
  EXPECT_EQ(sheet.count_ins[0].ends_at, "roof");
  EXPECT_EQ(sheet.count_ins[0].span_rpm, 600);
  EXPECT_TRUE(sheet.count_ins[0].evenly);
  EXPECT_THAT(sheet.count_ins[0].offsets_rpm, ElementsAre(-600, -400, -200));
  EXPECT_EQ(sheet.windows[3].count_in, 0u);
  EXPECT_EQ(sheet.windows[5].count_in, 0u);
  EXPECT_FALSE(sheet.windows[6].count_in);

  Gauge uneven = counted();
  uneven.windows[4].from_rpm = 7500;
  EXPECT_FALSE(settings_sheet(uneven).count_ins.at(0).evenly);
}

TEST(SettingsSheet, KeepsCountInsToTwoAnchorsApart) {
  Gauge g = counted();
  g.windows.insert(g.windows.begin() + 1, Window{"count-in-9", 2800, {}, "limit"});
  const SettingsSheet sheet = settings_sheet(g);
  ASSERT_EQ(sheet.count_ins.size(), 2u);
  EXPECT_EQ(sheet.count_ins[0].ends_at, "limit");
  EXPECT_EQ(sheet.count_ins[1].ends_at, "roof");
}

RC_GTEST_PROP(SettingsSheet, SaysWhereEveryWindowBeginsWhateverItHangsFrom, ()) {
  Gauge g = counted();
  g.anchors[0].second = *rc::gen::inRange(2000, 4000);
  g.windows[2].anchor = *rc::gen::element<std::string>("limit", "roof", "", "gone");
  for (const SheetWindow& w : settings_sheet(g).windows) {
    double anchor = 0;
    for (const auto& [name, rpm] : g.anchors)
      if (name == w.anchor) anchor = rpm;
    RC_ASSERT(w.anchor.empty() || anchor + w.offset_rpm == w.from.rpm);
  }
}

}  // namespace
}  // namespace tachproof
