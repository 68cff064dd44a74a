#include "core/judge/rpm_history.h"

#include <gtest/gtest.h>

namespace tachproof {
namespace {

RpmHistory history_of(const std::vector<Step>& steps, double least_turn_rpm = 5) {
  RpmHistory history(least_turn_rpm);
  const Profile profile{steps};
  for (const Segment& segment : profile.segments()) history.add(segment);
  return history;
}

TEST(RpmHistory, SaysTheProfilesRpmAndItsRate) {
  // 1 s at 1000, then 200 rpm in 2 s.
  const RpmHistory history = history_of({Hold{1000, ns_per_s}, RampByTime{1200, 2 * ns_per_s}});
  EXPECT_DOUBLE_EQ(history.rpm_at(ns_per_s / 2), 1000);
  EXPECT_DOUBLE_EQ(history.rpm_at(2 * ns_per_s), 1100);
  EXPECT_DOUBLE_EQ(history.slope_at(2 * ns_per_s), 100);
  EXPECT_DOUBLE_EQ(history.slope_at(ns_per_s / 2), 0);
  EXPECT_DOUBLE_EQ(history.rpm_at(-1), 0);               // before the first
  EXPECT_DOUBLE_EQ(history.rpm_at(9 * ns_per_s), 1200);  // after the last
}

TEST(RpmHistory, IsStillOnlyWhereTheRpmIsHeld) {
  const RpmHistory history = history_of({Hold{1000, ns_per_s}, RampByTime{1200, 2 * ns_per_s}});
  EXPECT_TRUE(history.still_between(0, ns_per_s / 2));
  EXPECT_FALSE(history.still_between(ns_per_s / 2, 2 * ns_per_s));
}

TEST(RpmHistory, FindsTheJumps) {
  const RpmHistory history = history_of(
      {Hold{1000, ns_per_s}, StepTo{1500}, Hold{1500, ns_per_s}, StepTo{1502}, Hold{1502, ns_per_s}});
  EXPECT_TRUE(history.steps_between(0, 3 * ns_per_s / 2));
  EXPECT_EQ(history.last_step_in(0, 3 * ns_per_s), ns_per_s);  // 2 rpm are no step
  EXPECT_FALSE(history.steps_between(3 * ns_per_s / 2, 3 * ns_per_s));
}

TEST(RpmHistory, CountsATurnOnlyWhenTheRpmComesBackFarEnough) {
  const std::vector<Step> far = {Hold{1000, ns_per_s}, RampByTime{1100, ns_per_s},
                                 RampByTime{1050, ns_per_s}};
  EXPECT_EQ(history_of(far).turns_between(0, 3 * ns_per_s), 1U);
  const std::vector<Step> near = {Hold{1000, ns_per_s}, RampByTime{1100, ns_per_s},
                                  RampByTime{1097, ns_per_s}};
  EXPECT_EQ(history_of(near).turns_between(0, 3 * ns_per_s), 0U);
}

TEST(RpmHistory, ForgetsNothingThatMayStillBeAsked) {
  RpmHistory history = history_of({Hold{1000, ns_per_s}, Hold{2000, ns_per_s}, Hold{3000, ns_per_s}});
  history.forget_before(3 * ns_per_s / 2);
  EXPECT_DOUBLE_EQ(history.rpm_at(3 * ns_per_s / 2), 2000);
  EXPECT_DOUBLE_EQ(history.rpm_at(5 * ns_per_s / 2), 3000);
}

}  // namespace
}  // namespace tachproof
