// Speeds as settings: the rpm that a unit is set to, and what an rpm means.
#include "core/gauge/drive.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>

#include "tests/core/gauges.h"

namespace tachproof {
namespace {

constexpr double m_per_ft = 0.3048;

Drive driven(double gear, double final_drive, double circumference_m, double standard_u_m = 0) {
  Drive drive;
  drive.gearing = {gear, final_drive};
  drive.tyre.circumference_m = {circumference_m, standard_u_m};
  return drive;
}

// the370z.com/305607-post5.html: circumference 6.96 ft, gear 0.794, final drive 3.692; 73 mph is
// 2706 rpm (2705.69).
TEST(Drive, IsSetToTheHighestRpmThatKeepsThePublishedSpeed) {
  const Drive drive = driven(0.794, 3.692, 6.96 * m_per_ft);
  const double mph_73 = 73 * m_per_s_of(SpeedUnit::mph);
  EXPECT_EQ(set_rpm(mph_73, drive, 1), 2705);
  EXPECT_EQ(set_rpm(mph_73, drive, 10), 2700);
  EXPECT_EQ(set_rpm(mph_73, drive, 0.5), 2705.5);
  EXPECT_EQ(set_rpm(-mph_73, drive, 1), -2706);  // further below its anchor, never nearer
}

// GUM (JCGM 100:2008) 4.3.7: a rectangular +-a has the standard uncertainty a / sqrt(3).
TEST(Drive, AddsTheToleranceToTheTyre) {
  const Drive exact = driven(1, 3, 2.0);
  EXPECT_DOUBLE_EQ(exact.speed_when_set(3000, 3).value, 3000.0 / 60 / 3 * 2);
  EXPECT_DOUBLE_EQ(exact.speed_when_set(3000, 3).standard_uncertainty, 3 / std::sqrt(3.0) / 60 / 3 * 2);
  const Drive worn = driven(1, 3, 2.0, 0.01);
  EXPECT_DOUBLE_EQ(worn.speed_when_set(3000, 0).standard_uncertainty, 3000.0 / 60 / 3 * 0.01);
  EXPECT_DOUBLE_EQ(worn.speed_when_set(3000, 3).standard_uncertainty,
                   std::hypot(3 / std::sqrt(3.0) / 60 / 3 * 2, 3000.0 / 60 / 3 * 0.01));
}

TEST(Drive, SaysASpeedAsFarAsItIsKnown) {
  EXPECT_EQ(say_speed({60 / 3.6, 0.15 / 3.6}, SpeedUnit::kmh), "60.00 km/h +-0.30");
  EXPECT_EQ(say_speed({60 / 3.6, 0.02 / 3.6}, SpeedUnit::kmh), "60.000 km/h +-0.040");
  EXPECT_EQ(say_speed({20, 1}, SpeedUnit::m_per_s), "20.0 m/s +-2.0");
  EXPECT_EQ(say_speed({44.704, 0}, SpeedUnit::mph), "100.000 mph +-0.000");
}

TEST(Drive, KnowsUnitsAsPeopleTypeThem) {
  EXPECT_EQ(speed_unit_named("kmh"), SpeedUnit::kmh);
  EXPECT_EQ(speed_unit_named("m/s"), SpeedUnit::m_per_s);
  EXPECT_FALSE(speed_unit_named("kph"));
  EXPECT_EQ(metres_of("in"), 0.0254);
  EXPECT_FALSE(metres_of("yd"));
}

// The written speed stands only as long as the rpm comes from it.
TEST(Drive, ForgetsAWrittenSpeedWhenTheRpmIsAnother) {
  Gauge g = test::small_gauge();
  g.drive = driven(2.05, 3.1, 1.98);
  g.resolution_rpm = 1;
  const Speed lane{60 / 3.6, SpeedUnit::kmh, "60km/h"};
  g.anchors = {{"lane", set_rpm(lane.m_per_s, *g.drive, 1)}};
  g.anchor_speeds = {{"lane", lane}};
  ASSERT_EQ(g.anchors[0].second, 3209);
  ASSERT_NE(g.speed_of_anchor("lane"), nullptr);
  EXPECT_EQ(g.speed_of_anchor("lane")->written, "60km/h");
  EXPECT_EQ(g.speed_of_anchor("change"), nullptr);
  g.anchors[0].second += 1;
  EXPECT_EQ(g.speed_of_anchor("lane"), nullptr);
}

RC_GTEST_PROP(Drive, NeverSetsAFasterSpeedNorOneThatIsAStepTooSlow, ()) {
  const Drive drive = driven(*rc::gen::inRange(500, 4000) * 1e-3, *rc::gen::inRange(1000, 6000) * 1e-3,
                             *rc::gen::inRange(1200, 2600) * 1e-3);
  const double resolution = *rc::gen::element(0.5, 1.0, 5.0, 10.0, 25.0, 50.0);
  const double speed = *rc::gen::inRange(-30'000, 90'000) * 1e-3;
  const double rpm = set_rpm(speed, drive, resolution);
  const double slack = 1e-5 * resolution;
  RC_ASSERT(drive.speed_at({rpm - slack, 0}).value <= speed);
  RC_ASSERT(drive.speed_at({rpm + resolution, 0}).value > speed);
  RC_ASSERT(std::fabs(std::remainder(rpm, resolution)) < 1e-9);
}

}  // namespace
}  // namespace tachproof
