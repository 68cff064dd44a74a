#include "core/base/portable_math.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>

#include "core/base/wide.h"

namespace tachproof {
namespace {

// The C library's long double functions are the reference.
constexpr long double two_pi = 6.283185307179586476925286766559L;

RC_GTEST_PROP(PortableMath, AgreesWithTheLibrarysSineAndCosine, ()) {
  const double turns = *rc::gen::inRange(-4'000'000, 4'000'001) / 1'000'003.0;
  const auto [sine, cosine] = portable::sine_cosine_of_turns(turns);
  RC_ASSERT(std::abs(sine - std::sin(two_pi * turns)) < 4e-16L);
  RC_ASSERT(std::abs(cosine - std::cos(two_pi * turns)) < 4e-16L);
}

TEST(PortableMath, IsExactAtQuarterTurns) {
  for (int q = -9; q < 9; ++q) {
    const auto [sine, cosine] = portable::sine_cosine_of_turns(q / 4.0);
    const int k = ((q % 4) + 4) % 4;
    EXPECT_EQ(sine, k == 1 ? 1 : k == 3 ? -1 : 0);
    EXPECT_EQ(cosine, k == 0 ? 1 : k == 2 ? -1 : 0);
  }
}

RC_GTEST_PROP(PortableMath, AgreesWithTheLibrarysExpAndLog, ()) {
  const double x = *rc::gen::inRange(-700'000'000, 700'000'001) / 1e6;
  const long double e = std::exp(static_cast<long double>(x));
  RC_ASSERT(std::abs(portable::exp(x) - e) < 4e-16L * e);
  RC_ASSERT(std::abs(portable::exp_to_9_digits(x) - e) < 3e-10L * e);
  const long double l = std::log(static_cast<long double>(static_cast<double>(e)));
  RC_ASSERT(std::abs(portable::log(static_cast<double>(e)) - l) <= 4e-16L * std::abs(l));
}

TEST(PortableMath, KnowsTheFixedPoints) {
  EXPECT_EQ(portable::exp(0), 1);
  EXPECT_EQ(portable::log(1), 0);
  EXPECT_DOUBLE_EQ(portable::exp(1), 2.71828182845904523536);
  EXPECT_DOUBLE_EQ(portable::log(2), 0.693147180559945309417);
}

// ---- double-double: identities that doubles alone do not keep ---------------

RC_GTEST_PROP(Wide, UndoesADivisionAndASquareRootTo30Digits, ()) {
  const double a = *rc::gen::inRange(1, 1'000'000'000);
  const double b = *rc::gen::inRange(1, 1'000'000'000);
  const Wide quotient = Wide(a) / b;
  RC_ASSERT(std::abs((quotient * b - a).hi) <= 1e-30 * a);
  const Wide root = sqrt(quotient);
  RC_ASSERT(std::abs((root * root - quotient).hi) <= 1e-30 * quotient.hi);
}

TEST(Wide, FloorsBeyond53Bits) {
  const Wide big = Wide(0x1p60) + 5.75;
  const Wide whole = floor(big);
  EXPECT_EQ(whole.hi, 0x1p60);
  EXPECT_EQ(whole.lo, 5);
  EXPECT_EQ(floor(Wide(4) - 1e-20).hi, 3);
}

}  // namespace
}  // namespace tachproof
