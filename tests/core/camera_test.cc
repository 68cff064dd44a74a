// What a camera's frames are taken for, without a camera.
#include <gmock/gmock.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <random>

#include "core/camera/blink_aliases.h"
#include "core/camera/frame_times.h"
#include "core/camera/lamp_colour.h"
#include "core/camera/lamp_frames.h"
#include "core/camera/other_colour.h"
#include "core/camera/sync_clock.h"
#include "core/camera/teaching.h"
#include "core/judge/expectation.h"
#include "tests/core/gauges.h"
#include "tests/core/judged.h"

namespace tachproof {
namespace {

using testing::ElementsAre;

// ---- colour -----------------------------------------------------------------

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
      "29 % green, 1 % blue; yellow, the nearest that was taught, is 56 % red, 43 % green, 1 % blue");
}

// ---- frames -----------------------------------------------------------------

TEST(FrameTimes, TellDroppedRepeatedAndLateFrames) {
  FrameTimes times(10);
  EXPECT_TRUE(times.take(100, false));
  EXPECT_TRUE(times.take(110, false));
  EXPECT_FALSE(times.take(120, true));   // the same picture
  EXPECT_TRUE(times.take(134, false));   // a little late
  EXPECT_TRUE(times.take(165, false));   // two are missing
  EXPECT_FALSE(times.take(160, false));  // from before
  EXPECT_TRUE(times.take(175, false));
  EXPECT_EQ(times.frames(), 7U);
  EXPECT_EQ(times.dropped(), 2U);
  EXPECT_EQ(times.repeated(), 1U);
  EXPECT_EQ(times.backwards(), 1U);
}

constexpr LampLook dark{LampLook::State::dark}, lit{LampLook::State::lit},
    weak{LampLook::State::lit, 0, true}, unclear{},
    other{.state = LampLook::State::other, .red = 0.6, .green = 0.4};
constexpr Nanos period = 1000;

// One lamp, a look for each frame.
LampFrames looked(const std::vector<LampLook>& looks, Nanos exposure = 0) {
  LampFrames frames({.longest_unseen = 2 * period + period / 5,
                     .readout = {0},
                     .exposure = exposure,
                     .doubt = 0,
                     .names = {"left"}});
  for (std::size_t i = 0; i < looks.size(); ++i)
    frames.add(static_cast<Nanos>(i) * period, {&looks[i], 1}, i);
  return frames;
}

TEST(LampFrames, AChangeLiesBetweenTwoFrames) {
  LampFrames frames = looked({dark, dark, lit, lit, unclear, lit, dark, dark, dark});
  const std::vector<ChangeSpan> changes = frames.take();
  ASSERT_EQ(changes.size(), 2U);
  EXPECT_EQ(changes[0].after, 1000);
  EXPECT_EQ(changes[0].before, 2000);
  EXPECT_EQ(changes[0].changes[0].to, 0);
  EXPECT_EQ(changes[1].after, 5000);
  EXPECT_EQ(changes[1].before, 6000);
  EXPECT_EQ(changes[1].changes[0].to, lamp_dark);
  EXPECT_EQ(frames.take_lost().size(), 0U);
}

TEST(LampFrames, AFlashOfOneFrameIsSeenUnlessTheOthersChangeToo) {
  EXPECT_EQ(looked({dark, dark, lit, dark, dark}).take().size(), 2U);
  // The first lamp's row was read before all changed, the second's after: on its
  // way from dark to dark the first is caught lit beside the second.
  LampFrames frames({.longest_unseen = 2200, .readout = {0, 500}, .exposure = 400});
  const std::vector<std::vector<LampLook>> looks{{dark, dark}, {lit, lit}, {dark, lit}, {dark, lit}};
  for (std::size_t i = 0; i < looks.size(); ++i) frames.add(static_cast<Nanos>(i) * period, looks[i]);
  const std::vector<ChangeSpan> changes = frames.take();
  ASSERT_EQ(changes.size(), 1U);
  ASSERT_EQ(changes[0].changes.size(), 1U);
  EXPECT_EQ(changes[0].changes[0].lamp, 1U);
}

// From a window that lights the second lamp, through one that lights the first
// for less than a frame, to darkness: as after a jump of the rpm.
TEST(LampFrames, APictureBetweenThatHardlyStoodIsPassedOverThoughItsLampChangedAloneAtFirst) {
  LampFrames frames({.longest_unseen = 2200, .readout = {0, 0}, .exposure = 400});
  const std::vector<std::vector<LampLook>> looks{{dark, lit}, {weak, lit}, {dark, dark}, {dark, dark}};
  for (std::size_t i = 0; i < looks.size(); ++i) frames.add(static_cast<Nanos>(i) * period, looks[i]);
  const std::vector<ChangeSpan> changes = frames.take();
  ASSERT_EQ(changes.size(), 1U);
  ASSERT_EQ(changes[0].changes.size(), 1U);
  EXPECT_EQ(changes[0].changes[0].lamp, 1U);
  EXPECT_EQ(changes[0].changes[0].to, lamp_dark);
}

TEST(LampFrames, WhatCannotBeToldIsLost) {
  const auto lost = looked({dark, dark, unclear, unclear, dark, dark}).take_lost();
  ASSERT_EQ(lost.size(), 1U);
  EXPECT_EQ(
      lost[0].why,
      "lamp left could not be told for 3 us up to frame 4 (0.000 s): glare, a hand before it, or frames "
      "that are missing; film again without");
  EXPECT_EQ(looked({dark, dark, lit, lit, dark, dark, lit, lit, dark, dark, lit, lit}).take_lost().size(),
            1U);
  // Dimming that beats with the shutter comes and goes by degrees; a switch does not.
  EXPECT_EQ(looked({dark, dark, unclear, weak, weak, lit, lit}).take_lost().size(), 1U);
  EXPECT_EQ(looked({dark, dark, unclear, lit, lit, lit}).take_lost().size(), 0U);
}

// 93 Hz seen thirty times a second: a blink that the unit does not show, of which
// every change takes a frame or two. Filmed (clip 44 of seed 51, drawn).
TEST(LampFrames, ABlinkThatFadesAtEveryChangeIsLost) {
  std::vector<LampLook> looks;
  for (int cycle = 0; cycle < 4; ++cycle)
    for (const LampLook& look : {dark, weak, lit, lit, lit, lit, lit, weak, unclear, dark})
      looks.push_back(look);
  EXPECT_EQ(looked(looks).take_lost().size(), 1U);
  // A frame for each change, and exposures that are short.
  looks.clear();
  for (int cycle = 0; cycle < 6; ++cycle)
    for (const LampLook& look : {dark, dark, dark, unclear, lit, lit, lit, unclear}) looks.push_back(look);
  EXPECT_EQ(looked(looks, period / 5).take_lost().size(), 1U);
  EXPECT_EQ(looked(looks, period / 2).take_lost().size(), 0U);
  // Now and then a switch falls into an exposure.
  looks.clear();
  for (int cycle = 0; cycle < 9; ++cycle) {
    for (const LampLook& look : {dark, dark, dark, unclear, lit, lit, lit, lit}) looks.push_back(look);
    if (cycle == 4) looks.insert(looks.end() - 4, weak);
  }
  EXPECT_EQ(looked(looks, period / 5).take_lost().size(), 0U);
}

TEST(LampFrames, ALampThatStaysInNoTaughtColourIsInAStateOfItsOwn) {
  LampFrames frames = looked({dark, dark, other, other, unclear, other, other, dark, dark, dark});
  const std::vector<ChangeSpan> changes = frames.take();
  ASSERT_EQ(changes.size(), 2U);
  EXPECT_EQ(changes[0].changes[0].to, lamp_other);
  EXPECT_EQ(changes[0].after, 1000);
  EXPECT_EQ(changes[0].before, 2000);
  EXPECT_EQ(changes[1].changes[0].to, lamp_dark);
  EXPECT_TRUE(frames.take_lost().empty());
  const std::vector<OtherColour> others = frames.take_others(false);
  ASSERT_EQ(others.size(), 1U);
  EXPECT_EQ(others[0].frames, 4);
  EXPECT_EQ(others[0].from.number, 2U);
  EXPECT_NEAR(others[0].red, 0.6, 1e-9);
  // Having been in it for long, a brief time is no lost sight.
  EXPECT_TRUE(looked({dark, other, other, other, dark, dark, dark, unclear, other, other, dark, dark})
                  .take_lost()
                  .empty());
  EXPECT_EQ(looked({dark, dark, unclear, other, other, dark, dark}).take_lost().size(), 1U);
  // Two frames lie across a change from one colour to another.
  EXPECT_EQ(looked({dark, other, other, lit, lit}).take().size(), 1U);
}

// 61 Hz of dimming at 30 frames a second and 1 ms: by chance three changes in three do not fall
// into exposures.
TEST(LampFrames, ThreeChangesThatAllTakeAFrameAreNoSwitchWhereExposuresAreShort) {
  const std::vector<LampLook> looks{dark, dark, dark, unclear, lit, lit, lit,
                                    weak, dark, dark, unclear, lit, lit};
  EXPECT_EQ(looked(looks, period * 3 / 100).take_lost().size(), 1U);
  EXPECT_EQ(looked(looks, period / 3).take_lost().size(), 0U);
}

RC_GTEST_PROP(LampFrames, SpansHoldTheTruthAndLampsThatChangeTogetherComeTogether, ()) {
  const auto seed = *rc::gen::arbitrary<std::uint32_t>();
  std::mt19937 random(seed);
  const auto up_to = [&](int n) { return static_cast<Nanos>(random() % static_cast<unsigned>(n)); };
  // Three lamps over the rows of a rolling shutter; all change at each instant, far enough apart.
  const std::vector<Nanos> readout{0, 300 + up_to(200), 600 + up_to(300)};
  std::vector<Nanos> instants;
  for (Nanos t = 5000; t < 60'000; t += 3500 + up_to(3000)) instants.push_back(t);
  LampFrames frames({.longest_unseen = 2200, .readout = readout, .exposure = 0});
  std::vector<ChangeSpan> changes;
  for (Nanos at = 0; at < 70'000; at += period) {
    if (at > 0 && random() % 12 == 0 && at % (4 * period) == 0) continue;  // a dropped frame
    std::vector<LampLook> looks;
    for (const Nanos row : readout) {
      const auto before = std::upper_bound(instants.begin(), instants.end(), at + row) - instants.begin();
      looks.push_back(before % 2 == 0 ? dark : lit);
    }
    frames.add(at, looks);
    for (ChangeSpan& change : frames.take()) changes.push_back(std::move(change));
  }
  RC_ASSERT(changes.size() == instants.size());
  RC_ASSERT(frames.take_lost().empty());
  for (std::size_t i = 0; i < instants.size(); ++i) {
    RC_ASSERT(changes[i].changes.size() == 3U);
    RC_ASSERT(changes[i].after < instants[i]);
    RC_ASSERT(instants[i] <= changes[i].before);
    RC_ASSERT(changes[i].before - changes[i].after <= 2 * period);
  }
}

// ---- blinks -----

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
    blinks.add(from_seconds(at), look);
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
  EXPECT_THAT(say_alias(brief[0], from_seconds(1 / 30.0), true),
              testing::MatchesRegex("seems to blink at 2.5. Hz from 0.5.. s of the camera's time; at 30.00 "
                                    "frames a second a lamp that blinks at 27.5 Hz would look the same: film "
                                    "with an exposure of at least .\\.. ms, or with another number of frames "
                                    "a second"));
  EXPECT_THAT(say_alias(brief[0], from_seconds(1 / 30.0), false),
              testing::HasSubstr("say the exposure (--exposure-ms, or exposure_ms in the rig file)"));
}

// ---- time ---------------------------------------------------------------------

// A camera whose clock runs `ppm` fast, `offset` behind the run's, frames every 33 ms.
struct FilmedFlashes {
  SyncClock clock;
  Nanos offset;
  double ppm;
  Nanos camera_of(Nanos run) const {
    return std::llround(static_cast<double>(run - offset) * (1 + ppm * 1e-6));
  }
  void flash(Nanos from, Nanos to, Nanos frames_missing = 0) {
    clock.flashed(from, to);
    for (const Nanos edge : {from, to}) {
      const Nanos frame = 33 * ns_per_ms;
      const Nanos after = (camera_of(edge) / frame) * frame - frames_missing * frame;
      clock.seen(after, after + frame, edge == from);
    }
  }
};

RC_GTEST_PROP(SyncClock, BoundsHoldTheTrueOffset, ()) {
  FilmedFlashes filmed{{},
                       *rc::gen::inRange<Nanos>(-3'000'000'000, -100'000'000),
                       static_cast<double>(*rc::gen::inRange(-150, 151))};
  std::vector<Nanos> starts{ns_per_s};
  for (int i = 0; i < 6; ++i)
    starts.push_back(starts.back() + *rc::gen::inRange<Nanos>(ns_per_s, 9 * ns_per_s));
  for (const Nanos start : starts) filmed.flash(start, start + 200 * ns_per_ms);
  RC_ASSERT(filmed.clock.consistent());
  for (const Nanos run : starts) {
    const auto offset = filmed.clock.offset_at(filmed.camera_of(run));
    RC_ASSERT(offset.has_value());
    const Nanos truth = run - filmed.camera_of(run);
    RC_ASSERT(offset->lowest <= truth + 1);
    RC_ASSERT(offset->highest >= truth - 1);
    RC_ASSERT(offset->half_width() <= 17 * ns_per_ms);
  }
}

TEST(SyncClock, FramesThatWentMissingBetweenFlashesAreFound) {
  FilmedFlashes filmed{{}, -500 * ns_per_ms, 20};
  filmed.flash(ns_per_s, 1300 * ns_per_ms);
  filmed.flash(4 * ns_per_s, 4210 * ns_per_ms);
  EXPECT_TRUE(filmed.clock.consistent());
  filmed.flash(8 * ns_per_s, 8500 * ns_per_ms, 3);
  EXPECT_FALSE(filmed.clock.consistent());
}

TEST(SyncClock, KnowsNothingBeforeAFlashAndWhatItAwaits) {
  SyncClock clock;
  EXPECT_FALSE(clock.offset_at(0));
  clock.seen(10, 20, true);
  EXPECT_FALSE(clock.offset_at(15));
  clock.flashed(100, 200);
  EXPECT_TRUE(clock.offset_at(15));
  EXPECT_EQ(clock.awaited(), 200);
  clock.seen(110, 120, false);
  EXPECT_EQ(clock.awaited(), std::nullopt);
  EXPECT_TRUE(clock.consistent());
}

// 30 frames a second: an instant is known to two frames, a quick unit answers within one.
TEST(JudgedFrames, AQuickUnitIsNotTakenForOneThatAnswersBeforeItIsAsked) {
  Gauge gauge = test::small_gauge();
  gauge.tolerance.response_to = 300 * ns_per_ms;
  const std::vector<Step> steps{Hold{2000, ns_per_s}, StepTo{4000}, Hold{4000, ns_per_s}, StepTo{2000},
                                Hold{2000, ns_per_s}};
  const Profile profile(steps);
  test::SampledUnit unit;
  unit.response = 10 * ns_per_ms;
  JudgeSetup setup;
  setup.bench.watcher.resolution = 73 * ns_per_ms;
  RunResult result = test::judged(gauge, profile, unit.watch(gauge, profile), setup);
  ASSERT_EQ(result.transitions.size(), 2U);
  for (const TransitionResult& row : result.transitions) EXPECT_EQ(row.verdict, Verdict::pass);
  // Where no answer is allowed at first, a quick one is not let pass by that.
  gauge.tolerance.response_from = 20 * ns_per_ms;
  result = test::judged(gauge, profile, unit.watch(gauge, profile), setup);
  for (const TransitionResult& row : result.transitions) EXPECT_NE(row.verdict, Verdict::pass);
}

// What a watcher does not believe has no numbers.
TEST(JudgedFrames, BlinksThatAreNotVouchedForAndTimesThatDoNotFitAreNoMeasurement) {
  const Gauge gauge = test::small_gauge();
  const std::vector<Step> steps{Hold{2900, ns_per_s}, RampByRate{3100, 50},     Hold{3100, ns_per_s},
                                StepTo{5500},         Hold{5500, 3 * ns_per_s}, StepTo{3100},
                                RampByRate{2900, 20}, Hold{2900, ns_per_s}};
  const Profile profile(steps);
  const std::vector<LampEvent> seen = test::SampledUnit{}.watch(gauge, profile);
  const auto judged = [&](Channels unsure, const std::string& untimed) {
    Judge judge(gauge, {});
    for (const Segment& s : profile.segments()) judge.rpm(s);
    if (unsure != 0) judge.unsure_blinks(unsure);
    if (!untimed.empty()) judge.untimed(untimed);
    judge.lamps(seen);
    return judge.finish(profile.duration());
  };
  const RunResult sound = judged(0, ""), unsure = judged(gauge.channel("left", "blue"), ""),
                  untimed = judged(0, "the clip runs 2 % fast");
  ASSERT_EQ(sound.blinks.size(), 1U);
  EXPECT_EQ(sound.blinks[0].verdict, Verdict::pass);
  EXPECT_EQ(unsure.blinks[0].verdict, Verdict::undecided);
  EXPECT_TRUE(std::isnan(unsure.blinks[0].hz));
  EXPECT_EQ(unsure.verdict, Verdict::undecided);
  ASSERT_EQ(untimed.boundaries.size(), sound.boundaries.size());
  for (const BoundaryResult& row : untimed.boundaries) {
    EXPECT_TRUE(std::isnan(row.threshold_rpm) && std::isnan(row.expanded_uncertainty_rpm));
    EXPECT_EQ(row.remark, "the clip runs 2 % fast");
    EXPECT_EQ(row.verdict, Verdict::undecided);
  }
  for (const TransitionResult& row : untimed.transitions) EXPECT_EQ(row.verdict, Verdict::undecided);
  EXPECT_EQ(untimed.verdict, Verdict::undecided);
}

TEST(SyncClock, NamesTheRateWhereTheFlashesFitAnother) {
  SyncClock clock;
  for (const Nanos at : {1, 4, 9, 15})
    for (const Nanos edge : {at * ns_per_s, at * ns_per_s + 300 * ns_per_ms}) {
      if (edge == at * ns_per_s) clock.flashed(edge, edge + 300 * ns_per_ms);
      const Nanos frame = 33 * ns_per_ms, seen = edge * 102 / 100 / frame * frame;
      clock.seen(seen, seen + frame, edge == at * ns_per_s);
    }
  EXPECT_FALSE(clock.consistent());
  ASSERT_TRUE(clock.rate());
  EXPECT_NEAR(*clock.rate(), 1.02, 0.002);
}

// ---- teaching -------------------------------------------------------------------

TEST(Teaching, ShowsEveryWindowAndFlashesTwice) {
  const Gauge gauge = test::small_gauge();
  const Profile profile(teaching_steps(gauge, "sync"));
  std::vector<bool> demanded(gauge.windows.size());
  const std::vector<Reach> reaches = expect(gauge, profile).reaches;
  for (std::size_t i = 0; i + 1 < reaches.size(); ++i)
    if (reaches[i].lowest == reaches[i].highest && reaches[i + 1].from - reaches[i].from >= ns_per_s)
      demanded[reaches[i].lowest] = true;
  EXPECT_EQ(std::count(demanded.begin(), demanded.end(), false), 0);
  EXPECT_EQ(profile.actions().size(), 2U);
  EXPECT_TRUE(Profile(teaching_steps(gauge, "")).actions().empty());
}

}  // namespace
}  // namespace tachproof
