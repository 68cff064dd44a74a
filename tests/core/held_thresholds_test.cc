// Thresholds between two holds, of readings whose memory is known in closed form.
#include "core/judge/held_thresholds.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>

#include "core/judge/thresholds.h"
#include "tests/core/gauges.h"

namespace tachproof {
namespace {

constexpr Nanos ms = ns_per_ms;

JudgeSetup of_a_survey() {
  JudgeSetup setup;
  setup.what.within_rpm = 1;
  return setup;
}

// A filter of `filter_s`, as its jumps show it.
JumpMemory memory_of(double filter_s) {
  JumpMemory memory;
  memory.jump(filter_s * std::log(50.0), 0.02, 0.02);
  memory.ramp(filter_s);
  return memory;
}

// Up past boundary 1, changing `answers` after the second hold began.
HeldThresholds::Between held(double before, Nanos first_lasts, double first, double second, Nanos answers,
                             const JumpMemory& memory, const JudgeSetup& setup = of_a_survey()) {
  const Gauge gauge = test::small_gauge();
  const Profile profile{
      std::vector<Step>{Hold{before, ns_per_s}, Hold{first, first_lasts}, Hold{second, ns_per_s}}};
  RpmHistory history(1);
  for (const Segment& segment : profile.segments()) history.add(segment);
  HeldThresholds thresholds(gauge, setup);
  const bool rising = second > first;
  thresholds.changed(rising ? 0 : 1, rising ? 1 : 0, ns_per_s + first_lasts + answers, history);
  return thresholds.between(way_of(1, rising ? Direction::rising : Direction::falling), memory);
}

Nanos longest() {
  const Tolerance tolerance = test::small_gauge().tolerance;
  return tolerance.response_to + tolerance.settle;
}

TEST(HeldThresholds, LieBetweenTheTwoRpm) {
  const auto up = held(900, longest(), 999, 1001, 5 * ms, memory_of(0.001));
  EXPECT_EQ(up.passes, 1);
  EXPECT_NEAR(up.low_rpm, 999, 1e-3);
  EXPECT_DOUBLE_EQ(up.high_rpm, 1001);
  const auto down = held(1100, longest(), 995, 993, 5 * ms, memory_of(0.001));
  EXPECT_DOUBLE_EQ(down.low_rpm, 993);
  EXPECT_NEAR(down.high_rpm, 995, 1e-3);
}

// The reading comes to `first` as before + (first - before) (1 - exp(-t / filter)): a threshold that it
// reached only during the second hold may be that much lower.
RC_GTEST_PROP(HeldThresholds, HoldWhatAFilterHadReached, ()) {
  const double filter_s = *rc::gen::inRange(1, 60) * 1e-3, before = *rc::gen::inRange(200, 990);
  const Nanos first_lasts = longest() + *rc::gen::inRange(0, 300) * ms;
  const double reached = 999 - (999 - before) * std::exp(-to_seconds(first_lasts) / filter_s);
  const auto between = held(before, first_lasts, 999, 1001, 10 * ms, memory_of(filter_s));
  RC_ASSERT(between.passes == 1);
  RC_ASSERT(between.low_rpm <= reached + 1e-9);
  RC_ASSERT(between.high_rpm == 1001);
}

TEST(HeldThresholds, TellNothingWhereAResponseThatIsAllowedReachesFurtherBack) {
  EXPECT_EQ(held(900, longest() - 20 * ms, 999, 1001, 10 * ms, memory_of(0.001)).passes, 0);
  EXPECT_EQ(held(900, longest() - 20 * ms, 999, 1001, 25 * ms, memory_of(0.001)).passes, 1);
  // So late that no conforming unit's change came from this hold.
  EXPECT_EQ(held(900, 2 * longest(), 999, 1001, longest() + ms, memory_of(0.001)).passes, 0);
}

TEST(HeldThresholds, TellNothingOfAUnitWhoseMemoryIsNotKnownNorComingFromTheOtherSide) {
  EXPECT_EQ(held(900, longest(), 999, 1001, 5 * ms, JumpMemory{}).passes, 0);
  EXPECT_EQ(held(1100, longest(), 999, 1001, 5 * ms, memory_of(0.001)).passes, 0);
}

TEST(HeldThresholds, AreASurveysOnlyAndNeedAQuietSignal) {
  EXPECT_EQ(held(900, longest(), 999, 1001, 5 * ms, memory_of(0.001), JudgeSetup{}).passes, 0);
  JudgeSetup noisy = of_a_survey();
  noisy.rpm_uncertainty = 0.1;
  EXPECT_EQ(held(900, longest(), 999, 1001, 5 * ms, memory_of(0.001), noisy).passes, 0);
}

// From one window into the next.
TEST(HeldThresholds, HoldsFurtherApartThanTheToleranceAreNoMeasurement) {
  EXPECT_EQ(held(900, longest(), 950, 1050, 5 * ms, memory_of(0.001)).passes, 0);
}

TEST(HeldThresholds, PassesThatContradictEachOtherTellNothing) {
  const Gauge gauge = test::small_gauge();
  RpmHistory history(1);
  const Profile profile{std::vector<Step>{Hold{900, ns_per_s}, Hold{999, ns_per_s}, Hold{1001, ns_per_s},
                                          Hold{900, ns_per_s}, Hold{1003, ns_per_s}, Hold{1005, ns_per_s}}};
  for (const Segment& segment : profile.segments()) history.add(segment);
  HeldThresholds thresholds(gauge, of_a_survey());
  const std::size_t way = way_of(1, Direction::rising);
  thresholds.changed(0, 1, 2 * ns_per_s + 5 * ms, history);
  EXPECT_EQ(thresholds.between(way, memory_of(0.001)).passes, 1);
  thresholds.changed(0, 1, 5 * ns_per_s + 5 * ms, history);
  EXPECT_EQ(thresholds.between(way, memory_of(0.001)).passes, 0);
}

}  // namespace
}  // namespace tachproof
