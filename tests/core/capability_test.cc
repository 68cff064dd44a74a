#include "core/base/capability.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <string>
#include <vector>

namespace tachproof {
namespace {

// NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6, from memory: limits 8
// and 20, mean 16, s = 2 give Cpk = 0.6667.
TEST(Capability, AgreesWithTheHandbooksExample) {
  const std::vector<double> values = {14, 16, 18};
  const Capability c = capability(values, 8, 20);
  EXPECT_DOUBLE_EQ(c.mean, 16);
  EXPECT_DOUBLE_EQ(c.s, 2);
  EXPECT_NEAR(c.cpk, 0.6667, 5e-5);
}

// Thirty values with mean 97 and s = 1.6 between 90 and 100: an exercise of D. C.
// Montgomery's "Introduction to Statistical Quality Control" (inputs as quoted at
// solutioninn.com/suppose-that-a-quality-characteristic-has-a-normal-distribution-with);
// Cpk and its 95 % limits computed from the handbook's formulas.
TEST(Capability, GivesTheLimitsOfCpk) {
  std::vector<double> values;
  const double step = 1.6 * std::sqrt(29.0 / 30);
  for (int i = 0; i < 15; ++i) {
    values.push_back(97 - step);
    values.push_back(97 + step);
  }
  const Capability c = capability(values, 90, 100);
  EXPECT_EQ(c.n, 30U);
  EXPECT_NEAR(c.s, 1.6, 1e-12);
  EXPECT_NEAR(c.cpk, 0.625, 1e-12);
  EXPECT_NEAR(c.cpk_lower, 0.42475, 5e-6);
  EXPECT_NEAR(c.cpk_upper, 0.82525, 5e-6);
}

// NIST StRD, univariate: NumAcc3 has mean 1000000.2 and s = 0.1, which a sum of
// squares in one pass loses.
TEST(Capability, KeepsTheSmallSpreadOfLargeValues) {
  std::ifstream file(std::string(TACHPROOF_TEST_DATA) + "/strd_numacc3.txt");
  std::vector<double> values;
  for (double value = 0; file >> value;) values.push_back(value);
  ASSERT_EQ(values.size(), 1001U);
  const Capability c = capability(values, 999'999, 1'000'001);
  EXPECT_NEAR(c.mean, 1'000'000.2, 1e-9);
  EXPECT_NEAR(c.s, 0.1, 1e-10);
}

TEST(Capability, SaysNothingThatItCannotKnow) {
  EXPECT_TRUE(std::isnan(capability({}, -1, 1).mean));
  const std::vector<double> one = {0.5};
  EXPECT_EQ(capability(one, -1, 1).mean, 0.5);
  EXPECT_TRUE(std::isnan(capability(one, -1, 1).s));
  EXPECT_TRUE(std::isnan(capability(one, -1, 1).cpk));
  const std::vector<double> same = {0.5, 0.5};
  EXPECT_TRUE(std::isinf(capability(same, -1, 1).cpk));
  EXPECT_TRUE(std::isnan(capability(same, -1, 1).cpk_lower));
}

RC_GTEST_PROP(Capability, IsTheSameInAnyUnitAndMirrored, ()) {
  const auto steps = *rc::gen::container<std::vector<int>>(7, rc::gen::inRange(-1000, 1000));
  RC_PRE(*std::min_element(steps.begin(), steps.end()) != *std::max_element(steps.begin(), steps.end()));
  std::vector<double> values, scaled, mirrored;
  for (const int step : steps) {
    values.push_back(step * 0.01);
    scaled.push_back(step * 0.04 + 3720);
    mirrored.push_back(-step * 0.01);
  }
  const Capability c = capability(values, -12, 12);
  RC_ASSERT(std::abs(capability(scaled, 3720 - 48, 3720 + 48).cpk - c.cpk) < 1e-9 * (1 + std::abs(c.cpk)));
  RC_ASSERT(std::abs(capability(mirrored, -12, 12).cpk - c.cpk) < 1e-9 * (1 + std::abs(c.cpk)));
  RC_ASSERT(c.cpk_lower < c.cpk && c.cpk < c.cpk_upper);
}

}  // namespace
}  // namespace tachproof
