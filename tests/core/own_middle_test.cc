// The middle of a unit's own deadband, and its uncertainty.
#include "core/plan/own_middle.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>

#include "core/base/random.h"

namespace tachproof {
namespace {

OwnMiddle visited(const std::vector<std::pair<double, double>>& middles_and_rates) {
  OwnMiddle own;
  for (const auto& [middle, rate] : middles_and_rates) own.visit(middle, rate);
  return own;
}

// A middle and a difference of responses that visits show without any scatter.
RC_GTEST_PROP(OwnMiddle, IsWhereTheRateWouldBeNone, ()) {
  const double middle = 3600 + *rc::gen::inRange(-100, 101) * 0.01,
               apart_s = *rc::gen::inRange(-100, 101) * 0.001;
  OwnMiddle own;
  const int visits = *rc::gen::inRange(2, 8);
  for (int i = 0; i < visits; ++i) {
    const double rate = i % 2 == 0 ? 40 : 10;
    own.visit(middle + rate * apart_s / 2, rate);
  }
  RC_ASSERT(std::abs(own.rpm() - middle) < 1e-6);
  RC_ASSERT(std::abs(own.slope()->s - apart_s / 2) < 1e-6);
}

// JCGM 100:2008, H.3: a straight line by least squares, here of middle / rate against 1 / rate. With x =
// 1/40, 1/10 twice each, its formulas give the intercept's and the slope's uncertainty.
TEST(OwnMiddle, HasTheUncertaintyOfALine) {
  const OwnMiddle own = visited({{3600.1, 40}, {3600.01, 10}, {3599.94, 40}, {3600.02, 10}});
  double sum_x = 0, sum_y = 0, sum_xx = 0, sum_xy = 0, squares = 0;
  const double x[] = {0.025, 0.1, 0.025, 0.1};
  const double y[] = {3600.1 / 40, 3600.01 / 10, 3599.94 / 40, 3600.02 / 10};
  for (int i = 0; i < 4; ++i) sum_x += x[i], sum_y += y[i], sum_xx += x[i] * x[i], sum_xy += x[i] * y[i];
  const double determinant = 4 * sum_xx - sum_x * sum_x;
  const double steep = (4 * sum_xy - sum_x * sum_y) / determinant;
  const double begins = (sum_xx * sum_y - sum_x * sum_xy) / determinant;
  for (int i = 0; i < 4; ++i) squares += std::pow(y[i] - begins - steep * x[i], 2);
  EXPECT_NEAR(own.rpm(), steep, 1e-6);
  EXPECT_NEAR(own.scatter().squares_s2, squares, 1e-12);
  // Table G.2: t of 2 degrees of freedom and 95 % is 4.30.
  EXPECT_NEAR(own.u_rpm(), 4.30 * std::sqrt(squares / 2 * 4 / determinant), 0.001);
}

TEST(OwnMiddle, IsNotKnownByVisitsOfOneRateNorByTooFew) {
  EXPECT_TRUE(std::isnan(OwnMiddle().rpm()));
  EXPECT_TRUE(std::isinf(visited({{3600, 40}, {3600.1, 40}, {3599.9, 40}, {3600, 40}}).u_rpm()));
  EXPECT_TRUE(std::isinf(visited({{3600, 40}, {3600.1, 10}, {3599.9, 40}}).u_rpm()));
  EXPECT_TRUE(std::isinf(visited({{3600, 40}}).u_rpm({4e-6, 8})));
  EXPECT_TRUE(std::isinf(visited({{3600, 40}, {3600, 10}}).u_rpm({4e-6, 1})));
  EXPECT_TRUE(std::isfinite(visited({{3600, 40}, {3600, 10}}).u_rpm({4e-6, 2})));
}

TEST(OwnMiddle, IsNotKnownForSureByVisitsThatAgree) {
  EXPECT_DOUBLE_EQ(visited({{3600, 40}, {3600, 10}, {3600, 40}, {3600, 10}}).u_rpm(), OwnMiddle::least_u_rpm);
}

TEST(OwnMiddle, GoesByItsOwnVisitsWhereTheseLieTooFarApart) {
  const VisitScatter others{4e-5, 10};  // of 2 ms
  const OwnMiddle near = visited({{3600, 40}, {3600, 10}, {3600.25, 40}, {3600, 10}});
  EXPECT_LT(near.u_rpm(others), near.u_rpm());
  const OwnMiddle far = visited({{3600, 40}, {3600, 10}, {3601, 40}, {3600, 10}});
  EXPECT_EQ(far.u_rpm(others), far.u_rpm());
}

TEST(OtherVisits, ScatterMoreAtLowerRpmAndNoLessAtHigher) {
  OtherVisits others;
  EXPECT_EQ(others.at(3000).dof, 0);
  const OwnMiddle own = visited({{3600.1, 40}, {3600.01, 10}, {3599.94, 40}, {3600.02, 10}});
  others.add(6000, own);
  EXPECT_EQ(others.at(6000).dof, 2);
  EXPECT_DOUBLE_EQ(others.at(6000).squares_s2, own.scatter().squares_s2);
  EXPECT_DOUBLE_EQ(others.at(9000).squares_s2, own.scatter().squares_s2);
  EXPECT_DOUBLE_EQ(others.at(3000).squares_s2, 4 * own.scatter().squares_s2);
}

// Of units with nine boundaries: four visits at the first, three at the others. Their ways up and down answer
// 50 ms apart, and unlike at each boundary.
TEST(OwnMiddle, LiesWithinItsUncertaintyInNineteenOfTwenty) {
  for (const double unlike_s : {0.0, 0.02}) {
    Random random(7, 1);
    int within = 0, all = 0;
    for (int unit = 0; unit < 1000; ++unit) {
      OtherVisits visited;
      for (int b = 0; b < 9; ++b) {
        OwnMiddle own;
        const double apart_s = 0.05 + unlike_s * random.normal();
        for (int v = 0; v < (b == 0 ? 4 : 3); ++v) {
          const double rate = v % 2 == 0 ? 40 : 10;
          own.visit(3600 + rate * (apart_s / 2 + 0.01 * random.normal()), rate);
        }
        within += std::abs(own.rpm() - 3600) <= own.u_rpm(visited.at(3600)) ? 1 : 0;
        ++all;
        visited.add(3600, own);
      }
    }
    const double sd = std::sqrt(all * 0.05 * 0.95);
    EXPECT_GE(within, 0.95 * all - 4 * sd) << unlike_s;
    if (unlike_s == 0) {
      EXPECT_LE(within, 0.97 * all);
    }
  }
}

}  // namespace
}  // namespace tachproof
