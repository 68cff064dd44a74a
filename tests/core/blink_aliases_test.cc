// Blinks that frames cannot follow.
#include <gmock/gmock.h>

#include <cmath>
#include <random>

#include "core/camera/blink_aliases.h"

namespace tachproof {
namespace {

// A lamp that blinks at `hz`, filmed by `fps`: its light is the lit share of each exposure.
std::vector<SeenBlink> filmed_blink(double hz, double fps, double exposure_s, double open = 1,
                                    double jitter_s = 0, double brightness = 1, double stated_s = -1) {
  BlinkAliases blinks(
      {from_seconds(1 / fps), from_seconds(stated_s < 0 ? exposure_s : stated_s), 800 * ns_per_ms});
  std::mt19937 random(7);
  std::uniform_real_distribution<double> off(-jitter_s, jitter_s);
  const double begins = 0.5131, lasts = 3.2;
  for (int i = 0; i < 5 * fps; ++i) {
    const double at = i / fps + (jitter_s > 0 ? off(random) : 0);
    double share = 0;
    constexpr int parts = 400;
    for (int p = 0; p < parts; ++p) {
      const double t = at + exposure_s * ((p + 0.5) / parts - 0.5) - begins;
      share += t >= 0 && t < lasts && t * hz - std::floor(t * hz) < 0.5 ? 1.0 / parts : 0;
    }
    // Of what fills the sensor, all beyond is cut off.
    const double light = open * share + (1 - open) * std::min(1.0, brightness * share);
    LampLook look;
    look.state = light < 0.15   ? LampLook::State::dark
                 : light < 0.30 ? LampLook::State::unclear
                                : LampLook::State::lit;
    look.weak = light < 0.75;
    look.light = light;
    look.open = open;
    blinks.add(from_seconds(at), look, static_cast<std::uint64_t>(i));
  }
  blinks.end_stretch();
  return blinks.take();
}

bool is_believed(const std::vector<SeenBlink>& blinks) {
  return !blinks.empty() &&
         std::all_of(blinks.begin(), blinks.end(), [](const SeenBlink& b) { return b.is_believed(); });
}

TEST(BlinkAliases, ABlinkThatTheFramesCannotFollowIsNeverBelieved) {
  for (const double exposure_ms : {0.2, 1.0, 2.0, 4.0, 6.0, 8.0, 11.0, 16.0})
    for (const double open : {1.0, 0.5, 0.25})
      for (const double fps : {30.0, 29.97, 60.0})
        for (const double k : {1.0, 2.0, 3.0})
          for (const double hz : {k * fps - 2.5, k * fps + 2.5, k * fps - 1.93, k * fps + 3.31}) {
            const auto blinks = filmed_blink(hz, fps, exposure_ms * 1e-3, open, 0, 4);
            for (const SeenBlink& blink : blinks)
              EXPECT_FALSE(blink.is_believed() && blink.hz < 5)
                  << hz << " Hz, " << fps << " fps, " << exposure_ms << " ms, open " << open;
          }
}

TEST(BlinkAliases, ASlowBlinkIsBelievedWhereTheExposureExcludesAliases) {
  for (const double open : {1.0, 0.4}) {
    EXPECT_TRUE(is_believed(filmed_blink(2.5, 30, 9e-3, open, 0, 4))) << open;
    EXPECT_TRUE(is_believed(filmed_blink(2.0, 30, 8e-3, open, 0, 4))) << open;
    EXPECT_TRUE(is_believed(filmed_blink(2.43, 60, 5e-3, open, 0, 4))) << open;
  }
  // Without it: not, and the least that would do does.
  const auto brief = filmed_blink(2.5, 30, 1e-3);
  ASSERT_EQ(brief.size(), 1U);
  EXPECT_FALSE(brief[0].is_believed());
  EXPECT_NEAR(brief[0].hz, 2.5, 0.05);
  EXPECT_NEAR(brief[0].alias_hz, 27.5, 0.1);
  EXPECT_GT(brief[0].exposure_s, 3e-3);
  EXPECT_LT(brief[0].exposure_s, 8e-3);
  EXPECT_TRUE(is_believed(filmed_blink(2.5, 30, brief[0].exposure_s)));
  EXPECT_FALSE(is_believed(filmed_blink(2.5, 30, 9e-3, 1, 0, 1, 0)));  // not stated
}

TEST(BlinkAliases, FramesThatComeUnevenlyExcludeThem) {
  EXPECT_TRUE(is_believed(filmed_blink(2.5, 30, 1e-3, 1, 9e-3)));
}

TEST(BlinkAliases, SayWhatWouldLookTheSameAndWhatToDo) {
  const auto brief = filmed_blink(2.5, 30, 1e-3);
  ASSERT_EQ(brief.size(), 1U);
  EXPECT_THAT(
      say_alias(brief[0], from_seconds(1 / 30.0), true),
      testing::MatchesRegex("seems to blink at 2.5. Hz from frame 16 .0.533 s. on. At 30.00 frames a "
                            "second a lamp that blinks at 27.5 Hz would look the same: film with an "
                            "exposure of at least .\\.. ms, or with another number of frames a second"));
  EXPECT_THAT(say_alias(brief[0], from_seconds(1 / 30.0), false),
              testing::HasSubstr("state the exposure (--exposure-ms, or exposure_ms in the rig file)"));
  EXPECT_THAT(
      say_alias(brief[0], from_seconds(1 / 30.0), true, true),
      testing::HasSubstr("look the same, and so would a steady lamp that is dimmed at that rate: film"));
}

}  // namespace
}  // namespace tachproof
