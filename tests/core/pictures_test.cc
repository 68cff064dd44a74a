#include "core/judge/pictures.h"
#include "tests/core/short_times.h"

#include <gtest/gtest.h>

namespace tachproof {
namespace {

std::vector<LampEvent> all(Pictures& pictures) {
  std::vector<LampEvent> out;
  for (; pictures.next() != nullptr; pictures.pop()) out.push_back(*pictures.next());
  return out;
}

TEST(Pictures, LampsThatComeAFewMillisecondsApartAreOneChange) {
  Pictures pictures(10 * ms, 0, [](Channels) { return true; });
  const std::vector<LampEvent> events{{0, 0}, {500 * ms, 1}, {504 * ms, 3}, {900 * ms, 0}};
  pictures.add(events);
  pictures.finish(1000 * ms);
  const std::vector<LampEvent> seen = all(pictures);
  ASSERT_EQ(seen.size(), 3u);
  EXPECT_EQ(seen[1].at, 504 * ms);
  EXPECT_EQ(seen[1].lit, Channels{3});
}

TEST(Pictures, ADimmedLampIsLitAllTheTime) {
  Pictures pictures(10 * ms, 0, [](Channels) { return true; });
  std::vector<LampEvent> events{{0, 0}};
  for (Nanos t = 500 * ms; t < 1500 * ms; t += 5 * ms) {
    events.push_back({t, 1});
    events.push_back({t + 2 * ms, 0});
  }
  pictures.add(events);
  pictures.finish(2000 * ms);
  const std::vector<LampEvent> seen = all(pictures);
  ASSERT_EQ(seen.size(), 3u);
  EXPECT_EQ(seen[1].at, 500 * ms);
  EXPECT_NEAR(pictures.dimming().dimming(0).hz, 200, 1);
}

TEST(Pictures, NothingIsSettledBeforeItIsKnownWhatFollows) {
  Pictures pictures(10 * ms, 0, [](Channels) { return true; });
  EXPECT_EQ(pictures.settled_until(), -1);
  const std::vector<LampEvent> events{{0, 0}, {500 * ms, 1}};
  pictures.add(events);
  EXPECT_LT(pictures.settled_until(), 500 * ms);
  pictures.seen_until(800 * ms);
  EXPECT_GE(pictures.settled_until(), 500 * ms);
}

TEST(Pictures, AFrameBetweenTwoChangesIsNoPictureOfItsOwn) {
  // Frames of 40 ms; 2 is no window's picture.
  Pictures pictures(10 * ms, 40 * ms, [](Channels lit) { return lit != 2; });
  const std::vector<LampEvent> events{{0, 1}, {500 * ms, 2}, {530 * ms, 4}};
  pictures.add(events);
  pictures.finish(1000 * ms);
  const std::vector<LampEvent> seen = all(pictures);
  ASSERT_EQ(seen.size(), 2u);
  EXPECT_EQ(seen[1].lit, Channels{4});
}

}  // namespace
}  // namespace tachproof
