// Looks of a dimmed lamp as if it were at full light.
#include <gtest/gtest.h>

#include "core/camera/dim_follower.h"

namespace tachproof {
namespace {

LampLook lit(double light) {
  LampLook look;
  look.state = LampLook::State::lit;
  look.light = light;
  look.weak = light < 1 - steady_ripple;
  look.open = 1;
  look.flux = light / 4;
  return look;
}
LampLook dark() {
  LampLook look;
  look.state = LampLook::State::dark;
  return look;
}

std::vector<LampLook> through(DimFollower& follower, const std::vector<LampLook>& looks) {
  std::vector<LampLook> out;
  Nanos at = 0;
  for (const LampLook& look : looks) {
    follower.add({at += 33 * ns_per_ms, 0, {look}});
    while (const auto frame = follower.take()) out.push_back(frame->looks[0]);
  }
  while (const auto frame = follower.take(true)) out.push_back(frame->looks[0]);
  return out;
}

TEST(LightOfStep, IsTheToneCurveOfSrgb) {
  for (std::size_t code = 0; code < light_of_step.size(); ++code)
    EXPECT_NEAR(light_of_step[code], 65535 * light_of_code(static_cast<double>(code)), 0.5001) << code;
}

TEST(DimFollower, LeavesALampAtFullLightAsItIs) {
  DimFollower follower(std::vector<std::vector<double>>{{1.0}});
  const std::vector<LampLook> in{dark(), lit(0.4), lit(1.0), lit(1.02), lit(0.98), lit(0.5), dark(), dark()};
  const std::vector<LampLook> out = through(follower, in);
  ASSERT_EQ(out.size(), in.size());
  for (std::size_t i = 0; i < in.size(); ++i) {
    EXPECT_EQ(out[i].state, in[i].state) << i;
    EXPECT_EQ(out[i].weak, in[i].weak) << i;
    EXPECT_NEAR(out[i].light, in[i].light, 0.03) << i;
  }
}

TEST(DimFollower, TakesASteadyLevelForFullAndAFrameBesideItsChangeForPartOfThat) {
  DimFollower follower(std::vector<std::vector<double>>{{1.0}});
  const std::vector<LampLook> out =
      through(follower, {lit(1.0), lit(1.0), lit(1.0), lit(0.7), lit(0.25), lit(0.25), lit(0.25), lit(0.12),
                         dark(), dark(), lit(0.1), lit(0.25), lit(0.25), lit(0.26), dark(), dark(), dark()});
  EXPECT_FALSE(out[2].weak);
  for (const std::size_t i : {4U, 5U, 6U, 11U, 12U, 13U}) {
    EXPECT_FALSE(out[i].weak) << i;
    EXPECT_NEAR(out[i].light, 1, 0.05) << i;
  }
  // On their way out and in: half, and less than half, of what they are while dimmed.
  EXPECT_TRUE(out[7].weak);
  EXPECT_NEAR(out[7].light, 0.48, 0.03);
  EXPECT_TRUE(out[10].weak);
  EXPECT_NEAR(out[10].light, 0.4, 0.03);
}

TEST(DimFollower, NeverCallsALampSteadyThatBrightensByDegrees) {
  DimFollower follower(std::vector<std::vector<double>>{{1.0}});
  const std::vector<LampLook> out = through(follower, {dark(), lit(0.1), lit(0.2), lit(0.35), lit(0.5),
                                                       lit(0.68), lit(0.85), lit(1), lit(1), lit(1)});
  for (std::size_t i = 1; i < 6; ++i) EXPECT_TRUE(out[i].weak) << i;
}

TEST(DimFollower, TellsTheLightOfFramesWithinASteadyStretchOnly) {
  DimFollower follower(std::vector<std::vector<double>>{{2.0}});  // a colour twice as bright as the weakest
  through(follower, {dark(), lit(0.6), lit(1.1), lit(1.1), lit(1.12), lit(0.6), dark(), dark(), dark()});
  const std::vector<DimFollower::Steady> steady = follower.take_steady();
  ASSERT_EQ(steady.size(), 1U);
  EXPECT_DOUBLE_EQ(steady[0].flux, 1.1 / 4);
}

}  // namespace
}  // namespace tachproof
