#include "core/judge/bench_facts.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "tests/core/gauges.h"
#include "tests/core/judged.h"

namespace tachproof {
namespace {

// GUM (JCGM 100:2008) F.2.2.1: a resolution of full width w has the standard uncertainty w / sqrt 12.
TEST(BenchFacts, ResolutionsAreRectanglesAndAddAsSquares) {
  BenchFacts facts;
  facts.source.tick = 12 * ns_per_us;
  facts.watcher.resolution = 24 * ns_per_us;
  facts.watcher.stamp_uncertainty = 5 * ns_per_us;
  facts.watcher.stamp_offset = 3 * ns_per_us;
  const BenchUncertainty u = bench_uncertainty(facts, 0.25);
  EXPECT_DOUBLE_EQ(u.source_tick_s, 12e-6 / std::sqrt(12.0));
  EXPECT_DOUBLE_EQ(u.resolution_s, 24e-6 / std::sqrt(12.0));
  EXPECT_NEAR(u.timing_s, std::sqrt((144 + 576) / 12.0 + 25) * 1e-6, 1e-15);
  EXPECT_DOUBLE_EQ(u.stamp_offset_s, 3e-6);
  EXPECT_DOUBLE_EQ(u.rpm, 0.25);
}

TEST(BenchFacts, TheClockIsAShareAndTheStepsOfASourceStayBounds) {
  BenchFacts facts;
  facts.source.clock_ppm = 40;
  facts.source.lag = 30 * ns_per_ms;
  facts.source.rpm = 0.4;
  const BenchUncertainty u = bench_uncertainty(facts);
  EXPECT_DOUBLE_EQ(u.clock_share, 40e-6);
  EXPECT_DOUBLE_EQ(u.source_lag_s, 0.030);
  EXPECT_DOUBLE_EQ(u.source_rpm, 0.4);
}

double budget_line(const RunResult& result, const std::string& component) {
  for (const BudgetLine& line : result.boundaries.front().budget)
    if (line.component == component) return line.standard_uncertainty_rpm;
  return 0;
}

// A tick of 6 ms on ramps of 10 and 60 rpm/s: each visit has rate x tick / sqrt 12 of it.
TEST(BenchFacts, TheBudgetOfAThresholdHasALineForTheSourcesTick) {
  const Gauge gauge = test::small_gauge();
  std::vector<Step> steps = {Hold{2940, ns_per_s}};
  for (const double rate : {10.0, 60.0, 10.0, 60.0})
    for (const double to : {3060.0, 2940.0}) steps.emplace_back(RampByRate{to, rate});
  const Profile profile{steps};
  JudgeSetup setup;
  setup.bench.source.tick = 6 * ns_per_ms;
  setup.bench.watcher.resolution = 10 * ns_per_us;
  const auto events = test::SampledUnit{}.watch(gauge, profile);
  const RunResult coarse = test::judged(gauge, profile, events, setup);
  ASSERT_FALSE(coarse.boundaries.empty());
  const double per_rpm_s = 6e-3 / std::sqrt(12.0);
  // Between the mean of two visits at 10 rpm/s and one at 60.
  EXPECT_GT(budget_line(coarse, "source tick"), 10 * per_rpm_s / 2);
  EXPECT_LT(budget_line(coarse, "source tick"), 60 * per_rpm_s);
  EXPECT_LT(budget_line(coarse, "stamp resolution"), budget_line(coarse, "source tick") / 100);

  setup.bench.source.tick = 6 * ns_per_us;
  const RunResult fine = test::judged(gauge, profile, events, setup);
  EXPECT_LT(budget_line(fine, "source tick"), budget_line(coarse, "source tick") / 100);
}

}  // namespace
}  // namespace tachproof
