#include "core/judge/window_reading.h"

#include <gtest/gtest.h>

#include "tests/core/gauges.h"

namespace tachproof {
namespace {

struct Reads : ::testing::Test {
  Gauge gauge = test::small_gauge();
  Channels white = gauge.channel("left", "white"), blue = gauge.channel("left", "blue"),
           magenta = gauge.channel("right", "magenta");
  WindowReading reading{gauge, gauge.all_channels()};
};

TEST_F(Reads, APictureOfAWindowHasItsSteadyLampsAndNoOthers) {
  EXPECT_TRUE(reading.shows(0, 0));
  EXPECT_TRUE(reading.shows(1, white));
  EXPECT_FALSE(reading.shows(1, white | magenta));
  EXPECT_FALSE(reading.is_picture(white | magenta));
}

TEST_F(Reads, ABlinkingLampMayBeLitOrDark) {
  EXPECT_TRUE(reading.shows(2, magenta | blue));
  EXPECT_TRUE(reading.shows(2, magenta));
  EXPECT_FALSE(reading.shows(2, blue));
}

TEST_F(Reads, WhatIsNotWiredIsNotLookedAt) {
  const WindowReading blind(gauge, white);
  EXPECT_TRUE(blind.shows(1, white | magenta));
  EXPECT_TRUE(blind.look_alike(0, 2));
  EXPECT_FALSE(blind.look_alike(0, 1));
}

TEST_F(Reads, TheAllowedWindowIsReadWhereItsPictureIsSeen) {
  const WindowReading::Read read = reading.read(white, 0, 2, 0, 2);
  EXPECT_EQ(read.window, 1U);
  EXPECT_TRUE(read.allowed);
  EXPECT_TRUE(read.known);
}

TEST_F(Reads, APictureOfAnotherWindowIsKnownAndNotAllowed) {
  const WindowReading::Read read = reading.read(white, 2, 2, 2, 2);
  EXPECT_EQ(read.window, 1U);
  EXPECT_FALSE(read.allowed);
  EXPECT_TRUE(read.known);
}

TEST_F(Reads, APictureOfNoWindowIsReadAsTheAllowedOneThatItResembles) {
  const WindowReading::Read read = reading.read(white | magenta, 1, 1, 1, 1);
  EXPECT_EQ(read.window, 1U);
  EXPECT_FALSE(read.known);
}

TEST_F(Reads, SteadyAndBlinkingOfOneLampAreAlikeWhileItIsLit) {
  gauge.windows[2].cue = {0, white};
  const WindowReading top(gauge, gauge.all_channels());
  EXPECT_TRUE(top.alike_while_lit(1, 2));
  EXPECT_FALSE(top.look_alike(1, 2));
  EXPECT_FALSE(reading.alike_while_lit(1, 2));
}

}  // namespace
}  // namespace tachproof
