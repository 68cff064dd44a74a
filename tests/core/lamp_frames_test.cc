// What frames are taken for: changes with bounded instants, and what cannot be told.
#include <gmock/gmock.h>
#include <rapidcheck/gtest.h>

#include <random>

#include "core/camera/frame_times.h"
#include "core/camera/lamp_frames.h"

namespace tachproof {
namespace {

using testing::ElementsAre;

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
  EXPECT_EQ(looked({dark, dark, lit, dark, dark, dark}).take().size(), 2U);
  // The first lamp's row was read before all changed, the second's after: on its
  // way from dark to dark the first is caught lit beside the second.
  LampFrames frames(
      {.longest_unseen = 2200, .readout = {0, 500}, .exposure = 400, .exposure_within = {400, 400}});
  const std::vector<std::vector<LampLook>> looks{
      {dark, dark}, {lit, lit}, {dark, lit}, {dark, lit}, {dark, lit}};
  for (std::size_t i = 0; i < looks.size(); ++i) frames.add(static_cast<Nanos>(i) * period, looks[i]);
  const std::vector<ChangeSpan> changes = frames.take();
  ASSERT_EQ(changes.size(), 1U);
  ASSERT_EQ(changes[0].changes.size(), 1U);
  EXPECT_EQ(changes[0].changes[0].lamp, 1U);
}

// From a window that lights the second lamp, through one that lights the first
// for less than a frame, to darkness: as after a jump of the rpm.
TEST(LampFrames, APictureBetweenThatHardlyStoodIsPassedOverThoughItsLampChangedAloneAtFirst) {
  LampFrames frames(
      {.longest_unseen = 2200, .readout = {0, 0}, .exposure = 400, .exposure_within = {400, 400}});
  const std::vector<std::vector<LampLook>> looks{
      {dark, lit}, {weak, lit}, {dark, dark}, {dark, dark}, {dark, dark}};
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
  EXPECT_EQ(lost[0].what, "lamp left could not be read for 3 us, until frame 4 (0.000 s)");
  EXPECT_EQ(lost[0].remedy, "look for glare, a hand in front of it or missing frames, and film again");
  EXPECT_EQ(looked({dark, dark, lit, lit, dark, dark, lit, lit, dark, dark, lit, lit}).take_lost().size(),
            1U);
  // Dimming that beats with the shutter comes and goes by degrees; a switch does not.
  const auto faded = looked({dark, dark, unclear, weak, weak, lit, lit}).take_lost();
  ASSERT_EQ(faded.size(), 1U);
  EXPECT_EQ(faded[0].what,
            "lamp left was neither dark nor fully lit for 3 frames at frame 4 (0.000 s), and a lamp that "
            "switches is so for 2 at most");
  // Whether the lamp is dimmed is not known: it is not said.
  EXPECT_THAT(faded[0].remedy,
              testing::StartsWith("if it is dimmed, film with an exposure of a whole number"));
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
  const auto half_lit = looked(looks, period / 5).take_lost();
  ASSERT_EQ(half_lit.size(), 1U);
  EXPECT_THAT(half_lit[0].what,
              testing::AllOf(testing::StartsWith("lamp left was caught half lit at each of"),
                             testing::EndsWith("open for 20 % of the time only")));
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
  EXPECT_EQ(looked({dark, other, other, lit, lit, lit, lit}).take().size(), 1U);
}

LampLook in_no_taught_colour(double light, double red) {
  return {.state = LampLook::State::other, .light = light, .open = 1, .red = red, .green = 0.3};
}

// A filament is redder while it warms up and cools down.
TEST(LampFrames, ALampInNoTaughtColourThatComesAndGoesByDegreesIsKnownByItsBrightestFrames) {
  LampLook faint = unclear;
  faint.light = 0.2;
  std::vector<LampLook> looks{
      dark, dark, faint, faint, in_no_taught_colour(0.4, 0.69), in_no_taught_colour(0.6, 0.66)};
  for (int i = 0; i < 6; ++i) looks.push_back(in_no_taught_colour(1, 0.6));
  for (const LampLook& look : {in_no_taught_colour(0.5, 0.67), faint, faint, faint, dark, dark, dark, dark})
    looks.push_back(look);
  LampFrames frames = looked(looks);
  EXPECT_TRUE(frames.take_lost().empty());
  const std::vector<OtherColour> others = frames.take_others(false);
  ASSERT_EQ(others.size(), 1U);
  EXPECT_EQ(others[0].frames, 6);
  EXPECT_EQ(others[0].from.number, 4U);
  EXPECT_NEAR(others[0].red, 0.6, 1e-9);
  EXPECT_EQ(frames.take().size(), 2U);
}

// Each flash of a blink has three frames at full light; two of them are enough.
TEST(LampFrames, ABlinkInNoTaughtColourAddsUpOverItsFlashes) {
  std::vector<LampLook> looks{dark, dark};
  for (int flash = 0; flash < 3; ++flash) {
    looks.push_back(in_no_taught_colour(0.5, 0.62));
    for (int i = 0; i < 3; ++i) looks.push_back(in_no_taught_colour(1, 0.6));
    for (int i = 0; i < 4; ++i) looks.push_back(dark);
  }
  std::vector<int> counted;
  for (const OtherColour& seen : looked(looks).take_others(false)) counted.push_back(seen.frames);
  EXPECT_THAT(counted, ElementsAre(3, 6, 9));
}

// From one lamp by way of two windows, of which each has one more, to darkness: in one frame they are seen
// together.
TEST(LampFrames, LampsThatOneFrameShowsTogetherAreNoPictureOfTheirOwn) {
  LampFrames frames(
      {.longest_unseen = 2200, .readout = {0, 0}, .exposure = 400, .exposure_within = {400, 400}});
  const std::vector<std::vector<LampLook>> looks{{dark, dark}, {dark, dark}, {lit, lit},  {dark, dark},
                                                 {dark, dark}, {dark, dark}, {dark, dark}};
  for (std::size_t i = 0; i < looks.size(); ++i) frames.add(static_cast<Nanos>(i) * period, looks[i]);
  EXPECT_TRUE(frames.take().empty());
  EXPECT_GT(frames.known_until(), 5000);
}

// The third lamp is in all windows of a quick way through them.
TEST(LampFrames, WhatIsLeftOfPicturesThatWerePassedThroughIsNoPictureEither) {
  LampFrames frames(
      {.longest_unseen = 2200, .readout = {0, 0, 0}, .exposure = 400, .exposure_within = {400, 400}});
  const std::vector<LampLook> none{dark, dark, dark}, all{lit, lit, lit}, left{dark, dark, lit};
  for (const auto& [i, looks] : {std::pair{0, none},
                                 {1, none},
                                 {2, all},
                                 {3, left},
                                 {4, none},
                                 {5, none},
                                 {6, none},
                                 {7, none},
                                 {8, none}})
    frames.add(static_cast<Nanos>(i) * period, looks);
  EXPECT_TRUE(frames.take().empty());
}

// Both changes may have been within the one exposure, whose light dates neither then.
TEST(LampFrames, TheChangesOfAFlashThatOneFrameShowsStayInTheirOrder) {
  LampLook full = lit, part = lit;
  full.light = full.open = part.open = 1;
  part.light = 0.35;
  LampFrames frames({.longest_unseen = 2200, .readout = {0}, .exposure = 400, .exposure_within = {400, 400}});
  const std::vector<LampLook> looks{dark, dark, full, full, full, dark, dark, part, dark, dark, dark, dark};
  for (std::size_t i = 0; i < looks.size(); ++i) frames.add(static_cast<Nanos>(i) * period, {&looks[i], 1});
  const std::vector<ChangeSpan> changes = frames.take();
  ASSERT_EQ(changes.size(), 4U);
  EXPECT_EQ(changes[0].before - changes[0].after, 1000 - 304);  // the exposures are left out
  EXPECT_EQ(changes[2].changes[0].to, 0);
  EXPECT_EQ(changes[3].changes[0].to, lamp_dark);
  EXPECT_EQ(changes[2].after, 6000 + 152);
  EXPECT_EQ(changes[2].before, 7000 + 200);
  EXPECT_EQ(changes[3].after, 7000 - 200);
  EXPECT_GE(changes[3].before, 7000 + 200);  // and not before it came on
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

}  // namespace
}  // namespace tachproof
