#include "core/base/statistics.h"

#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <limits>
#include <sstream>
#include <utility>

#include "core/base/mixture.h"

namespace tachproof {
namespace {

TEST(Statistics, PoissonLimitsAreGarwoodsTable) {
  // Garwood, Biometrika 28 (1936) 437-442; tests/data/garwood.csv was computed
  // with SciPy 1.10.1's chi2.ppf.
  std::ifstream table(TACHPROOF_TEST_DATA "/garwood.csv");
  ASSERT_TRUE(table);
  std::string line;
  int rows = 0;
  while (std::getline(table, line)) {
    if (line.empty() || line[0] == '#' || line[0] == 'n') continue;
    std::istringstream fields(line);
    std::uint64_t n;
    double lo90, hi90, lo95, hi95, lo99, hi99;
    char comma;
    fields >> n >> comma >> lo90 >> comma >> hi90 >> comma >> lo95 >> comma >> hi95 >> comma >> lo99 >>
        comma >> hi99;
    ASSERT_TRUE(fields) << line;
    EXPECT_NEAR(poisson_lower(n, 0.90), lo90, 1e-8);
    EXPECT_NEAR(poisson_upper(n, 0.90), hi90, 1e-8);
    EXPECT_NEAR(poisson_lower(n, 0.95), lo95, 1e-8);
    EXPECT_NEAR(poisson_upper(n, 0.95), hi95, 1e-8);
    EXPECT_NEAR(poisson_lower(n, 0.99), lo99, 1e-8);
    EXPECT_NEAR(poisson_upper(n, 0.99), hi99, 1e-8);
    ++rows;
  }
  EXPECT_GE(rows, 20);
}

TEST(Statistics, PoissonLimitsOfTwentyFiveEventsAsPublished) {
  // GraphPad QuickCalcs FAQ, "confidence interval of a count", n = 25.
  EXPECT_NEAR(poisson_lower(25, 0.95), 16.18, 0.005);
  EXPECT_NEAR(poisson_upper(25, 0.95), 36.90, 0.005);
  EXPECT_NEAR(poisson_lower(25, 0.99), 14.00, 0.005);
  EXPECT_NEAR(poisson_upper(25, 0.99), 41.00, 0.005);
}

TEST(Statistics, StudentsTIsTheGumsTable) {
  // JCGM 100:2008, table G.2, 16 degrees of freedom: 2.12 (95 %), 2.17
  // (95.45 %), 2.92 (99 %).
  EXPECT_NEAR(student_t(0.95, 16), 2.12, 0.005);
  EXPECT_NEAR(student_t(0.9545, 16), 2.17, 0.005);
  EXPECT_NEAR(student_t(0.99, 16), 2.92, 0.005);
  EXPECT_NEAR(student_t(0.95, std::numeric_limits<double>::infinity()), 1.959964, 1e-6);
}

TEST(Statistics, WelchSatterthwaiteIsTheGumsExample) {
  // JCGM 100:2008 G.4.1 (from memory): 0.25 % (n = 10), 0.57 % (n = 5),
  // 0.82 % (n = 15) give u_c = 1.03 % with 19.0 degrees of freedom.
  WelchSatterthwaite sum;
  sum.add(0.25, 9);
  sum.add(0.57, 4);
  sum.add(0.82, 14);
  EXPECT_NEAR(sum.combined(), 1.03, 0.005);
  EXPECT_NEAR(sum.dof(), 19.0, 0.05);
  // GUM H.1, end gauge: 25 nm (18), 9.68 nm (25.4), 16.6 nm (2) and the
  // thermal term 2.9 nm (50) give 32 nm with 16.7 (GTC's GUM_H1 example).
  WelchSatterthwaite gauge;
  gauge.add(25, 18);
  gauge.add(9.68194, 25.447);
  gauge.add(16.599, 2);
  gauge.add(2.88679, 50);
  EXPECT_NEAR(gauge.combined(), 31.66, 0.01);
  EXPECT_NEAR(gauge.dof(), 16.75, 0.01);
}

TEST(Statistics, AComponentWithoutScatterHasNoFiniteFreedom) {
  WelchSatterthwaite sum;
  sum.add(3, std::numeric_limits<double>::infinity());
  EXPECT_EQ(sum.dof(), std::numeric_limits<double>::infinity());
}

TEST(Statistics, DecisionsKeepAGuardBandOfU) {
  // ILAC-G8:09/2019, binary rule with guard band w = U.
  EXPECT_EQ(decide(2.0, 0.9, -3, 3), Verdict::pass);
  EXPECT_EQ(decide(2.5, 0.9, -3, 3), Verdict::undecided);
  EXPECT_EQ(decide(3.5, 0.9, -3, 3), Verdict::undecided);
  EXPECT_EQ(decide(4.0, 0.9, -3, 3), Verdict::fail);
  EXPECT_EQ(decide(-4.0, 0.9, -3, 3), Verdict::fail);
  EXPECT_EQ(decide(2.1, 0.9, -3, 3), Verdict::pass);  // touching the limit is inside
}

TEST(Statistics, WhatIsNotANumberDecidesNothing) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  EXPECT_EQ(decide(nan, 0.1, -3, 3), Verdict::undecided);
  EXPECT_EQ(decide(0, nan, -3, 3), Verdict::undecided);
  EXPECT_EQ(decide(0, 0.1, nan, 3), Verdict::undecided);
}

TEST(Statistics, AGuardBandOfUFalselyAcceptsUnderTwoAndAHalfPerCent) {
  // ILAC-G8:09/2019 table 1: w = U, false accept below 2.5 % (2.275 % for a
  // value just at the limit, U = 2 u): the chance that a reading of a true
  // value at the limit falls under limit - U.
  const double beyond = 0.5 * std::erfc(2 / std::sqrt(2.0));
  EXPECT_NEAR(beyond, 0.0227501, 1e-6);
  // The rule is that one: a reading 2 u inside passes, one less does not.
  EXPECT_EQ(decide(3 - 2.0, 2.0, -3, 3), Verdict::pass);
  EXPECT_EQ(decide(3 - 1.999, 2.0, -3, 3), Verdict::undecided);
}

// GUM, JCGM 100:2008, table G.2, 95 %, whose numbers have three digits; in between as Boost.Math has it.
TEST(CoverageFactor, IsStudentsOfTheTableAndInBetween) {
  const std::pair<double, double> table[] = {{1, 12.71}, {2, 4.30},  {3, 3.18},  {4, 2.78},   {5, 2.57},
                                             {10, 2.23}, {20, 2.09}, {50, 2.01}, {100, 1.984}};
  for (const auto& [dof, t] : table) EXPECT_NEAR(coverage_factor(dof), t, 0.005) << dof;
  for (double dof = 1; dof < 2000; dof *= 1.0137)
    EXPECT_NEAR(coverage_factor(dof) / student_t(0.95, dof), 1, 2e-6) << dof;
  EXPECT_NEAR(coverage_factor(0.5), student_t(0.95, 1), 1e-6);
  EXPECT_EQ(coverage_factor(infinite), 2);
}

// One normal quantity of two that are as likely: the interval about the mean has 95 % of both, and more where
// they lie so far apart that twice the standard uncertainty is more.
TEST(MixtureSummary, HoldsNinetyFivePercentOfItsParts) {
  for (const double apart : {0.0, 0.5, 2.0, 10.0}) {
    Mixture mixture;
    mixture.add(1, 100, 1);
    mixture.add(1, 100 + apart, 4);
    const Mixture::Summary told = mixture.summary();
    const auto inside = [&](double mean, double sd) {
      const auto below = [&](double x) { return 0.5 * std::erfc((mean - x) / sd / std::sqrt(2.0)); };
      return below(told.mean + told.expanded()) - below(told.mean - told.expanded());
    };
    const double held = (inside(100, 1) + inside(100 + apart, 2)) / 2;
    EXPECT_GE(held, 0.95 - 2e-4) << apart;
    if (apart < 1) {
      EXPECT_LE(held, 0.9546) << apart;
    }
  }
}

}  // namespace
}  // namespace tachproof
