// What a camera's frames are taken for, without a camera.
#include <gmock/gmock.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <random>

#include "core/expectation.h"
#include "core/frame_times.h"
#include "core/lamp_colour.h"
#include "core/lamp_frames.h"
#include "core/sync_clock.h"
#include "core/teaching.h"
#include "tests/core/gauges.h"

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

TEST(LampColour, OfNeitherTaughtColourIsNotGuessed) {
  EXPECT_EQ(seen(filled(200, 40, 180)).state, LampLook::State::unclear);
  EXPECT_EQ(seen(filled(40, 200, 60)).state, LampLook::State::unclear);
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

constexpr LampLook dark{LampLook::State::dark, 0, false}, lit{LampLook::State::lit, 0, false},
    weak{LampLook::State::lit, 0, true}, unclear{};
constexpr Nanos period = 1000;

// One lamp, a look for each frame.
LampFrames looked(const std::vector<LampLook>& looks, Nanos exposure = 0) {
  LampFrames frames({.longest_unseen = 2 * period + period / 5, .readout = {0}, .exposure = exposure});
  for (std::size_t i = 0; i < looks.size(); ++i) frames.add(static_cast<Nanos>(i) * period, {&looks[i], 1});
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
  EXPECT_EQ(frames.lost(), 0U);
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
  EXPECT_EQ(looked({dark, dark, unclear, unclear, dark, dark}).lost_why(),
            "a lamp could not be told for 3 us from 0.000 s of the camera's time");
  EXPECT_EQ(looked({dark, dark, lit, lit, dark, dark, lit, lit, dark, dark, lit, lit}).lost(), 1U);
  // Dimming that beats with the shutter comes and goes by degrees; a switch does not.
  EXPECT_EQ(looked({dark, dark, unclear, weak, weak, lit, lit}).lost(), 1U);
  EXPECT_EQ(looked({dark, dark, unclear, lit, lit, lit}).lost(), 0U);
}

// 93 Hz seen thirty times a second: a blink that the unit does not show, of which
// every change takes a frame or two. Filmed (clip 44 of seed 51, drawn).
TEST(LampFrames, ABlinkThatFadesAtEveryChangeIsLost) {
  std::vector<LampLook> looks;
  for (int cycle = 0; cycle < 4; ++cycle)
    for (const LampLook& look : {dark, weak, lit, lit, lit, lit, lit, weak, unclear, dark})
      looks.push_back(look);
  EXPECT_EQ(looked(looks).lost(), 1U);
  // A frame for each change, and exposures that are short.
  looks.clear();
  for (int cycle = 0; cycle < 6; ++cycle)
    for (const LampLook& look : {dark, dark, dark, unclear, lit, lit, lit, unclear}) looks.push_back(look);
  EXPECT_EQ(looked(looks, period / 5).lost(), 1U);
  EXPECT_EQ(looked(looks, period / 2).lost(), 0U);
  // Now and then a switch falls into an exposure.
  looks.clear();
  for (int cycle = 0; cycle < 9; ++cycle) {
    for (const LampLook& look : {dark, dark, dark, unclear, lit, lit, lit, lit}) looks.push_back(look);
    if (cycle == 4) looks.insert(looks.end() - 4, weak);
  }
  EXPECT_EQ(looked(looks, period / 5).lost(), 0U);
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
  RC_ASSERT(frames.lost() == 0U);
  for (std::size_t i = 0; i < instants.size(); ++i) {
    RC_ASSERT(changes[i].changes.size() == 3U);
    RC_ASSERT(changes[i].after < instants[i]);
    RC_ASSERT(instants[i] <= changes[i].before);
    RC_ASSERT(changes[i].before - changes[i].after <= 2 * period);
  }
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
