#include "core/judge/disturbances.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <vector>

namespace tachproof {
namespace {

TEST(Disturbances, CoverWhatTheyTouchAndNothingElse) {
  Disturbances d;
  EXPECT_FALSE(d.any(0, 100));
  EXPECT_EQ(d.outside(10, 60), 50);
  d.add(20, 30);
  d.add(50, 55);
  EXPECT_TRUE(d.any(0, 20));
  EXPECT_FALSE(d.any(30, 49));
  EXPECT_EQ(d.within(0, 100), 15);
  EXPECT_EQ(d.within(25, 52), 7);
  EXPECT_EQ(d.outside(25, 52), 20);
  EXPECT_EQ(d.count(0, 100), 2u);
  EXPECT_EQ(d.count(31, 49), 0u);
  EXPECT_EQ(d.end_of(22), 30);
  EXPECT_EQ(d.end_of(40), 40);
}

TEST(Disturbances, ThatOverlapAreOne) {
  Disturbances d;
  d.add(0, 10);
  d.add(5, 20);
  d.add(7, 9);
  EXPECT_EQ(d.count(0, 100), 1u);
  EXPECT_EQ(d.within(0, 100), 20);
}

// Beside a row of instants, each marked or not.
RC_GTEST_PROP(Disturbances, CoverAsManyInstantsAsWereMarked, ()) {
  std::vector<bool> marked(400, false);
  Disturbances d;
  Nanos from = 0;
  for (int i = *rc::gen::inRange(0, 20); i > 0; --i) {
    from += *rc::gen::inRange(0, 20);
    const Nanos to = from + *rc::gen::inRange(1, 15);
    d.add(from, to);
    for (Nanos t = from; t < to && t < 400; ++t) marked[static_cast<std::size_t>(t)] = true;
  }
  const Nanos a = *rc::gen::inRange(0, 399), b = *rc::gen::inRange(static_cast<int>(a), 399);
  Nanos covered = 0;
  for (Nanos t = a; t < b; ++t) covered += marked[static_cast<std::size_t>(t)];
  RC_ASSERT(d.within(a, b) == covered);
  RC_ASSERT(d.outside(a, b) == b - a - covered);
}

}  // namespace
}  // namespace tachproof
