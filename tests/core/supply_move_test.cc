// When a supply step is outside what a unit may be fed.
#include "core/judge/supply_move.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>

namespace tachproof {
namespace {

constexpr SupplyRange from_9_to_16{9, 16};

SupplyMove moves(double from_v, double to_v, Nanos lasts = 1000) {
  return supply_move({from_v, to_v, lasts}, 500, from_9_to_16);
}

TEST(SupplyMove, InsideIsNeverOutside) {
  for (const SupplyMove& move : {moves(9, 16), moves(16, 9), moves(12, 12), moves(9, 9)}) {
    EXPECT_FALSE(move.outside_from);
    EXPECT_FALSE(move.back_at);
    EXPECT_FALSE(move.ends_outside);
  }
}

TEST(SupplyMove, ARampIsOutsideFromWhereItPassesTheLimit) {
  const SupplyMove down = moves(10, 5);
  EXPECT_EQ(down.outside_from, 700);
  EXPECT_FALSE(down.back_at);
  EXPECT_TRUE(down.ends_outside);
  EXPECT_DOUBLE_EQ(down.furthest_v, 5);
  const SupplyMove up = moves(4, 14);
  EXPECT_EQ(up.outside_from, 500);
  EXPECT_EQ(up.back_at, 1000);
  EXPECT_FALSE(up.ends_outside);
  EXPECT_DOUBLE_EQ(up.furthest_v, 4);
  EXPECT_EQ(moves(15, 20).outside_from, 700);
  EXPECT_EQ(moves(20, 12).back_at, 1000);
}

TEST(SupplyMove, AJumpIsOutsideAtOnce) {
  EXPECT_EQ(moves(5, 5).outside_from, 500);
  EXPECT_TRUE(moves(5, 5).ends_outside);
  EXPECT_TRUE(moves(20, 20).ends_outside);
}

RC_GTEST_PROP(SupplyMove, BeforeItIsOutsideAndAfterItIsBackItIsInside, ()) {
  const auto volts = [] { return *rc::gen::inRange(1, 250) / 10.0; };
  const double from_v = volts(), to_v = volts();
  const SupplyMove move = moves(from_v, to_v, 1'000'000);
  const auto outside_by = [&](Nanos t) {
    const double v = move.volts_at(t);
    return std::max(9 - v, v - 16);
  };
  constexpr double rounding_v = 1e-4;
  for (Nanos t = move.at; t <= move.until(); t += 10'000) {
    const bool may_be_outside =
        move.outside_from && t >= *move.outside_from && (!move.back_at || t <= *move.back_at);
    if (!may_be_outside) RC_ASSERT(outside_by(t) <= rounding_v);
  }
  RC_ASSERT(move.ends_outside == (outside_by(move.until()) > 0));
}

}  // namespace
}  // namespace tachproof
