#include "core/gauge/speed.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include <rapidcheck/gtest.h>

namespace tachproof {
namespace {

constexpr double m_per_in = 0.0254;
constexpr double m_per_ft = 0.3048;

Tyre of_radius_in(double inches) { return Tyre::of_diameter({2 * inches * m_per_in, 0}); }

double mph_at(double rpm, const Gearing& gearing, const Tyre& tyre) {
  return speed_at_rpm({rpm, 0}, gearing, tyre).value / m_per_s_per_mph;
}

double rpm_at_mph(double mph, const Gearing& gearing, const Tyre& tyre) {
  return rpm_at_speed({mph * m_per_s_per_mph, 0}, gearing, tyre).value;
}

// webtec.com/education/rolling-radius-of-loaded-driving-tyre: 15 mph at
// 1680 rpm through 10:1 is a radius of 15 in, with the rounded constant 168,
// which is 0.0402 % low; the exact radius is 15.006 in.
TEST(Speed, AgreesWithThePublishedRollingRadiusInInches) {
  EXPECT_NEAR(rpm_at_mph(15, {10, 1}, of_radius_in(15.006)), 1680, 0.05);
  EXPECT_NEAR(rpm_at_mph(15, {10, 1}, of_radius_in(15)), 1680, 1680 * 0.00041);
}

// The same page, metric: 20 km/h at 1500 rpm through 10:1 is 353.68 mm.
TEST(Speed, AgreesWithThePublishedRollingRadiusInMillimetres) {
  const Tyre tyre = Tyre::of_diameter({2 * 0.35368, 0});
  EXPECT_NEAR(rpm_at_speed({20 * m_per_s_per_kmh, 0}, {10, 1}, tyre).value, 1500, 0.02);
}

// 73-87.com/convers_calcus/equation1.htm: 14 in, 2200 rpm, axle 3.73; gear
// 0.70 gives 70 mph (exactly 70.1875), gear 1.00 gives 49 mph (by the page's
// constant 168, which is 0.0402 % low, 49.1510); and 70 mph takes 2193 rpm.
TEST(Speed, AgreesWithThePublishedAxleEquation) {
  EXPECT_NEAR(mph_at(2200, {0.70, 3.73}, of_radius_in(14)), 70.1875, 5e-4);
  EXPECT_NEAR(mph_at(2200, {1.00, 3.73}, of_radius_in(14)), 49.1510 * 168 / 168.067619905, 1e-4);
  EXPECT_NEAR(rpm_at_mph(70, {0.70, 3.73}, of_radius_in(14)), 2193.24 * 168.067619905 / 168, 0.01);
}

// the370z.com/305607-post5.html: 3000 rpm, circumference 6.96 ft, gear 0.794,
// final drive 3.692 is 80.9 mph (80.9405), and 73 mph is 2706 rpm (2705.69).
TEST(Speed, AgreesWithThePublishedCircumferenceExample) {
  const Tyre tyre{{6.96 * m_per_ft, 0}};
  EXPECT_NEAR(mph_at(3000, {0.794, 3.692}, tyre), 80.9405, 5e-5);
  EXPECT_NEAR(rpm_at_mph(73, {0.794, 3.692}, tyre), 2705.69, 5e-3);
}

// speedyauto.cc, comparing cars 201603: r = 10 in, 55 mph, ratio 5.2; printed
// "about 4800" after rounded steps, exactly 4806.734.
TEST(Speed, AgreesWithThePublishedOverallRatioExample) {
  EXPECT_NEAR(rpm_at_mph(55, {1, 5.2}, of_radius_in(10)), 4806.734, 1e-3);
}

// ETRTO Standards Manual (from memory): a radial rolls 3.05 times its diameter.
TEST(Speed, TakesARollingFactorForALoadedTyre) {
  EXPECT_DOUBLE_EQ(Tyre::of_diameter({0.6, 0}, 3.05 / std::numbers::pi).circumference_m.value, 3.05 * 0.6);
}

TEST(Speed, RollingOutDividesTheTapesUncertaintyByTheTurns) {
  const Tyre tyre = Tyre::rolled_out({10.1, 0.010}, 5);
  EXPECT_DOUBLE_EQ(tyre.circumference_m.value, 2.02);
  EXPECT_DOUBLE_EQ(tyre.circumference_m.standard_uncertainty, 0.002);
}

TEST(Speed, AtRestHasTheUncertaintyOfTheSpeedAlone) {
  const Quantity rpm = rpm_at_speed({0, 0.1}, {1, 3}, {{2.0, 0.5}});
  EXPECT_EQ(rpm.value, 0);
  EXPECT_DOUBLE_EQ(rpm.standard_uncertainty, 60 * 3 * 0.1 / 2.0);
}

double drawn(int lowest, int beyond, double scale) { return *rc::gen::inRange(lowest, beyond) * scale; }

RC_GTEST_PROP(Speed, ThereAndBackAgainIsTheSameSpeed, ()) {
  const double speed = drawn(1, 100'000, 1e-3);
  const Gearing gearing{drawn(300, 5'000, 1e-3), drawn(1'000, 8'000, 1e-3)};
  const Tyre tyre{{drawn(500, 4'000, 1e-3), 0}};
  const double back = speed_at_rpm(rpm_at_speed({speed, 0}, gearing, tyre), gearing, tyre).value;
  RC_ASSERT(std::abs(back - speed) <= 1e-12 * speed);
}

// JCGM 100:2008, 5.1.3 note 2: sensitivities found by moving each input by its
// own standard uncertainty, both ways.
RC_GTEST_PROP(Speed, UncertaintyIsThatOfMovingEachInputInTurn, ()) {
  const Quantity rpm{drawn(500, 15'000, 1), drawn(0, 100, 0.1)};
  const Quantity circumference{drawn(500, 4'000, 1e-3), drawn(0, 50, 1e-4)};
  const Gearing gearing{1.54, 3.9};
  const auto speed = [&](double r, double c) { return speed_at_rpm({r, 0}, gearing, {{c, 0}}).value; };
  const auto [r, ur] = rpm;
  const auto [c, uc] = circumference;
  const double by_rpm = (speed(r + ur, c) - speed(r - ur, c)) / 2;
  const double by_tyre = (speed(r, c + uc) - speed(r, c - uc)) / 2;
  const double found = speed_at_rpm(rpm, gearing, {circumference}).standard_uncertainty;
  RC_ASSERT(std::abs(found - std::hypot(by_rpm, by_tyre)) <= 1e-9);
  const auto needed = [&](double v, double turn) { return rpm_at_speed({v, 0}, gearing, {{turn, 0}}).value; };
  const double v = 16, uv = 0.05;
  const double by_speed = (needed(v + uv, c) - needed(v - uv, c)) / 2;
  const double by_turn = (needed(v, c + uc) - needed(v, c - uc)) / 2;
  const double rpm_found = rpm_at_speed({v, uv}, gearing, {circumference}).standard_uncertainty;
  // The quotient bends: the two-sided difference is good to (u/c)^2.
  RC_ASSERT(std::abs(rpm_found - std::hypot(by_speed, by_turn)) <= 2e-4 * rpm_found);
}

}  // namespace
}  // namespace tachproof
