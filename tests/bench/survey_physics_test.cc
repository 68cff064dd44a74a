// Whole surveys of units whose readings and lamps are none of the simulated unit's.
#include <gtest/gtest.h>

#include "tests/bench/other_rig.h"
#include "tests/bench/survey_units.h"

namespace tachproof {
namespace {

class SurveyPhysics : public testing::TestWithParam<Physics> {
 protected:
  static HonestyCount surveyed(const UnitDraw& draw) {
    const auto with_rig = [](const RandomUnit& unit, std::uint64_t number,
                             const std::function<void(Rig&)>& survey) {
      Rig rig = other_rig(GetParam(), unit.runs, *unit.behaviour.resolution_rpm, number);
      survey(rig);
    };
    return survey_random_units(1, 15, 1, with_rig, draw);
  }
};

// The full count is in tests/benchmarks/SURVEY.md.
TEST_P(SurveyPhysics, TheStatedIntervalHoldsTheThreshold) {
  const HonestyCount count = surveyed({});
  EXPECT_EQ(count.intervals, 15u * 18u);
  EXPECT_GT(clopper_pearson(count.inside, count.intervals, 0.99).high, 0.95);
  EXPECT_LE(count.false_passes, 1u) << "of " << count.outside_rows;
  EXPECT_EQ(count.units_passed, 0u) << "of " << count.units_outside;
}

// Nearly as they are set, but for one boundary of every other unit.
TEST_P(SurveyPhysics, TheStatedIntervalHoldsTheThresholdOfUnitsNearlyAsTheyAreSet) {
  const HonestyCount count = surveyed({{}, 1});
  EXPECT_EQ(count.intervals, 15u * 18u);
  EXPECT_GT(clopper_pearson(count.inside, count.intervals, 0.99).high, 0.95);
  EXPECT_EQ(count.false_passes, 0u) << "of " << count.outside_rows;
  EXPECT_EQ(count.units_passed, 0u) << "of " << count.units_outside;
}

INSTANTIATE_TEST_SUITE_P(All, SurveyPhysics, testing::ValuesIn(all_physics), [](const auto& kind) {
  std::string words;
  for (const char c : name(kind.param))
    if (std::isalnum(static_cast<unsigned char>(c)) != 0) words += c;
  return words;
});

}  // namespace
}  // namespace tachproof
