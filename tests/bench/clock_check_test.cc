#include "bench/rigs/board/clock_check.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>

namespace tachproof {
namespace {

constexpr Nanos every = 20 * ns_per_ms;

// A board that is `fast` by so much, heard for a minute; every reading but one
// in ten is late by up to `latest`.
std::optional<double> after_a_minute(double fast, Nanos latest, unsigned seed) {
  ClockCheck check;
  for (Nanos host = 0; host < 60 * ns_per_s; host += every) {
    seed = seed * 1664525 + 1013904223;  // Numerical Recipes' quick generator
    const Nanos late = seed >> 16 < 6554 || latest == 0 ? 0 : static_cast<Nanos>(seed >> 8) % latest;
    const auto board = static_cast<Nanos>(std::llround(static_cast<double>(host) * (1 + fast)));
    check.reading(host + late, board);
  }
  return check.bad_by();
}

RC_GTEST_PROP(ClockCheck, LeavesACrystalInPeaceHoweverLateTheReadingsAre, (unsigned seed)) {
  const double fast = *rc::gen::inRange(-100, 101) * 1e-6;
  const Nanos latest = *rc::gen::inRange<Nanos>(0, 500 * ns_per_ms);
  RC_ASSERT(!after_a_minute(fast, latest, seed));
}

RC_GTEST_PROP(ClockCheck, FindsAResonatorHoweverLateTheReadingsAre, (unsigned seed)) {
  const double fast = *rc::gen::inRange(1000, 5001) * 1e-6 * *rc::gen::element(-1, 1);
  const Nanos latest = *rc::gen::inRange<Nanos>(0, 500 * ns_per_ms);
  const auto found = after_a_minute(fast, latest, seed);
  RC_ASSERT(found.has_value());
  RC_ASSERT(std::abs(*found - fast) < 200e-6);
}

TEST(ClockCheck, SaysNothingBeforeTenSeconds) {
  ClockCheck check;
  for (Nanos host = 0; host < 10 * ns_per_s; host += every) check.reading(host, 2 * host);
  EXPECT_FALSE(check.bad_by());
}

}  // namespace
}  // namespace tachproof
