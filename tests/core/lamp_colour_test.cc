// What pixels are taken for: dark, a taught colour, another one.
#include <gmock/gmock.h>

#include <cmath>

#include "core/camera/lamp_colour.h"
#include "core/camera/other_colour.h"

namespace tachproof {
namespace {

// Coded R, G, B to YCbCr as JPEG has it (ITU-T T.871).
void add(PixelSums& sums, double r, double g, double b, int pixels) {
  const auto coded = [](double v) {
    return static_cast<int>(std::lround(std::min(std::max(v, 0.0), 255.0)));
  };
  const int y = coded(0.299 * r + 0.587 * g + 0.114 * b);
  const int cb = coded(128 - 0.168736 * r - 0.331264 * g + 0.5 * b);
  const int cr = coded(128 + 0.5 * r - 0.418688 * g - 0.081312 * b);
  for (int i = 0; i < pixels; ++i) sums.add(y, cb, cr);
}

PixelSums filled(double r, double g, double b, int pixels = 100) {
  PixelSums sums;
  add(sums, r, g, b, pixels);
  return sums;
}

Light minus(const Light& a, const Light& b) { return {a.r - b.r, a.g - b.g, a.b - b.b}; }

// A lamp taught as white and blue, on a dark grey dial.
LampReference taught() {
  LampReference lamp;
  lamp.core_dark = lamp.rim_dark = mean_light(filled(30, 30, 30));
  for (const PixelSums& lit : {filled(200, 200, 200), filled(40, 70, 200)})
    lamp.colours.push_back(
        {minus(mean_light(lit), lamp.core_dark), minus(halo_light(lit), lamp.core_dark), 0.05});
  return lamp;
}

LampLook seen(const PixelSums& core, const PixelSums& rim = filled(32, 32, 32), double ambient = 1) {
  return look_at(taught(), core, rim, {ambient, ambient, ambient});
}

TEST(LampColour, LightIsLinear) {
  // IEC 61966-2-1: 188 is about half of the light (0.5029).
  EXPECT_NEAR(mean_light(filled(188, 188, 188)).g, 0.503, 0.005);
  EXPECT_NEAR(mean_light(filled(255, 0, 0)).r, 1, 0.01);
  EXPECT_NEAR(mean_light(filled(255, 0, 0)).g, 0, 0.01);
}

TEST(LampColour, IsThatOfTheHaloWhereTheMiddleIsFull) {
  PixelSums core = filled(255, 255, 255, 60);
  add(core, 45, 80, 190, 40);
  const LampLook look = seen(core);
  EXPECT_EQ(look.state, LampLook::State::lit);
  EXPECT_EQ(look.colour, 1U);
}

TEST(LampColour, IsNotToldWhenNearlyAllIsFull) {
  PixelSums core = filled(255, 255, 255, 95);
  add(core, 45, 80, 190, 5);
  EXPECT_EQ(seen(core).state, LampLook::State::unclear);
  // One full channel is enough: a blue lamp is full in blue alone.
  EXPECT_EQ(seen(filled(60, 90, 255)).state, LampLook::State::unclear);
}

TEST(LampColour, OfNeitherTaughtColourIsAnother) {
  EXPECT_EQ(seen(filled(200, 40, 180)).state, LampLook::State::other);
  EXPECT_EQ(seen(filled(40, 200, 60)).state, LampLook::State::other);
  // Amber where yellow was taught, as shares of linear light.
  LampReference yellow = taught();
  const PixelSums lit = filled(225, 205, 40), amber = filled(225, 150, 40);
  yellow.colours = {
      {minus(mean_light(lit), yellow.core_dark), minus(halo_light(lit), yellow.core_dark), 0.05}};
  const auto look = [&](const PixelSums& core) {
    return look_at(yellow, core, filled(32, 32, 32), {1, 1, 1});
  };
  EXPECT_EQ(look(lit).state, LampLook::State::lit);
  EXPECT_EQ(look(amber).state, LampLook::State::other);
  EXPECT_GT(colour_apart(look(amber).red, look(amber).green, yellow.colours[0]), apart_for_certain);
}

TEST(LampColour, BetweenDarkAndLitIsNotTold) {
  EXPECT_EQ(seen(filled(30, 30, 30)).state, LampLook::State::dark);
  EXPECT_EQ(seen(filled(33, 36, 50)).state, LampLook::State::dark);
  EXPECT_EQ(seen(filled(34, 44, 98)).state, LampLook::State::unclear);
  EXPECT_EQ(seen(filled(38, 60, 160)).state, LampLook::State::lit);
  EXPECT_TRUE(seen(filled(38, 60, 150)).weak);
  EXPECT_FALSE(seen(filled(40, 70, 200)).weak);
}

TEST(LampColour, StaysWhenTheRoomGetsBrighterOrTheExposureShorter) {
  // Twice the light on the dial: 30 coded becomes about 43.
  EXPECT_EQ(seen(filled(43, 43, 43), filled(43, 43, 43), 2).state, LampLook::State::dark);
  EXPECT_EQ(seen(filled(50, 78, 203), filled(44, 44, 44), 2).colour, 1U);
  // Half the exposure: half of all light.
  const LampLook look = seen(filled(28, 50, 147), filled(21, 21, 21), 0.5);
  EXPECT_EQ(look.state, LampLook::State::lit);
  EXPECT_EQ(look.colour, 1U);
  EXPECT_FALSE(look.weak);
}

TEST(LampColour, OfAReflectionIsNotTheLamps) {
  EXPECT_EQ(seen(filled(190, 190, 190), filled(34, 34, 34)).state, LampLook::State::lit);
  EXPECT_EQ(seen(filled(190, 190, 190), filled(150, 150, 150)).state, LampLook::State::unclear);
}

// A lamp that was taught yellow, seen for ten frames in these shares of red and green.
OtherColourSeen other_than_yellow(double red, double green, bool others_look_right = true, int time = 1) {
  LampReference lamp;
  lamp.colours = {{{0.4, 0.31, 0.01}, {0.4, 0.31, 0.01}, 0.05}};
  OtherColour seen{0, {12, 400 * ns_per_ms}, {21, 700 * ns_per_ms}, 10, red, green, time};
  return judge_other_colour(seen, lamp, {"yellow"}, "", others_look_right);
}

TEST(OtherColour, IsCertainWhereNeitherWhiteBalanceNorAReflectionExplainsIt) {
  EXPECT_TRUE(other_than_yellow(0.70, 0.29).is_certain);           // amber
  EXPECT_FALSE(other_than_yellow(0.70, 0.29, false).is_certain);   // but all may be redder
  EXPECT_TRUE(other_than_yellow(0.95, 0.03, false).is_certain);    // not that much
  EXPECT_FALSE(other_than_yellow(0.62, 0.37).is_certain);          // nearly yellow
  EXPECT_FALSE(other_than_yellow(0.43, 0.38).is_certain);          // yellow and white
  EXPECT_FALSE(other_than_yellow(0.33, 0.34).is_certain);          // white: a reflection,
  EXPECT_TRUE(other_than_yellow(0.33, 0.34, true, 2).is_certain);  // but not again and again
  EXPECT_EQ(
      other_than_yellow(0.70, 0.29).what,
      "was lit in a colour that it was not taught, from frame 12 (0.400 s) to frame 21 (0.700 s): 70 % red, "
      "29 % green, 1 % blue. The nearest that was taught is yellow with 56 % red, 43 % green, 1 % blue: 20 % "
      "away, and another colour is 11.5 % away or more");
}

}  // namespace
}  // namespace tachproof
