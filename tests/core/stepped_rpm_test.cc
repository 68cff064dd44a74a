#include "core/signal/stepped_rpm.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "core/judge/judge.h"
#include "tests/core/gauges.h"

namespace tachproof {
namespace {

constexpr SteppedTiming timing{40 * ns_per_ms, 0.1};

std::vector<RpmChange> changes_of(const Profile& profile, const SteppedTiming& how = timing) {
  SteppedRpm steps(how);
  for (const Segment& segment : profile.segments()) steps.add(segment);
  std::vector<RpmChange> out;
  while (const std::optional<RpmChange> change = steps.next(profile.duration())) out.push_back(*change);
  return out;
}

double played_at(const std::vector<RpmChange>& changes, Nanos t) {
  double rpm = 0;
  for (const RpmChange& change : changes)
    if (change.at <= t) rpm = change.rpm;
  return rpm;
}

std::vector<Step> some_steps() {
  std::vector<Step> steps;
  const int n = *rc::gen::inRange(1, 8);
  for (int i = 0; i < n; ++i) {
    const double rpm = *rc::gen::inRange(0, 4000);
    const Nanos lasts = *rc::gen::inRange(1, 400) * ns_per_ms;
    switch (*rc::gen::inRange(0, 4)) {
      case 0: steps.push_back(Hold{rpm, lasts}); break;
      case 1: steps.push_back(RampByTime{rpm, lasts}); break;
      case 2: steps.push_back(StepTo{rpm}); break;
      default: steps.push_back(Wave{rpm + 100, 90, 300 * ns_per_ms, lasts}); break;
    }
  }
  return steps;
}

// The promise of the header, less the half that the instrument's own instant
// takes, by its definition: looked for at sampled instants.
RC_GTEST_PROP(SteppedRpm, PlaysTheProfilesRpmOfAnInstantCloseByOrAsGood, ()) {
  const Profile profile(some_steps());
  const std::vector<RpmChange> changes = changes_of(profile);
  const Nanos stair = timing.change / 2;
  for (Nanos t = 0; t < profile.duration(); t += 7 * ns_per_ms) {
    const double played = played_at(changes, t);
    double nearest = std::abs(profile.rpm_at(t) - played);
    double low = profile.rpm_at(t), high = low;
    for (Nanos u = std::max<Nanos>(t - stair, 0); u <= t + stair; u += ns_per_ms / 2) {
      const double rpm = profile.rpm_at(std::min(u, profile.duration()));
      nearest = std::min(nearest, std::abs(rpm - played));
      low = std::min(low, rpm);
      high = std::max(high, rpm);
    }
    // Between two samples the rpm is continuous but for steps.
    const bool between = low <= played && played <= high;
    RC_ASSERT(between || nearest <= timing.within_rpm + 1e-6);
  }
}

RC_GTEST_PROP(SteppedRpm, NeverChangesSoonerThanTheInstrumentCan, ()) {
  const std::vector<RpmChange> changes = changes_of(Profile(some_steps()));
  for (std::size_t i = 1; i < changes.size(); ++i)
    RC_ASSERT(changes[i].at - changes[i - 1].at >= timing.change);
}

RC_GTEST_PROP(SteppedRpm, IsTheSameHoweverItsSegmentsCome, ()) {
  const Profile profile(some_steps());
  const std::vector<RpmChange> all = changes_of(profile);
  SteppedRpm steps(timing);
  std::vector<RpmChange> out;
  const auto take = [&](Nanos due) {
    while (const std::optional<RpmChange> change = steps.next(due)) out.push_back(*change);
  };
  for (const Segment& segment : profile.segments()) {
    steps.add(segment);
    take(-1);
  }
  take(profile.duration());
  RC_ASSERT(out.size() == all.size());
  for (std::size_t i = 0; i < out.size(); ++i) RC_ASSERT(out[i].at == all[i].at && out[i].rpm == all[i].rpm);
}

TEST(SteppedRpm, StepsFallOnTheirInstantWhereThereIsTime) {
  const std::vector<Step> steps = {Hold{1000, ns_per_s}, StepTo{3000}, Hold{3000, ns_per_s}};
  const std::vector<RpmChange> changes = changes_of(Profile(steps));
  ASSERT_EQ(changes.size(), 2U);
  EXPECT_EQ(changes[0].at, 0);
  EXPECT_EQ(changes[0].rpm, 1000);
  EXPECT_EQ(changes[1].at, ns_per_s);
  EXPECT_EQ(changes[1].rpm, 3000);
}

TEST(SteppedRpm, ASlowRampIsNotCutFinerThanAsked) {
  // 10 rpm in 10 s: a step every 0.1 rpm or so, and not one every 40 ms.
  const std::vector<Step> steps = {Hold{1000, ns_per_s}, RampByTime{1010, 10 * ns_per_s}};
  const std::size_t changes = changes_of(Profile(steps)).size();
  EXPECT_LE(changes, 102U);
  EXPECT_GE(changes, 80U);
}

TEST(SteppedRpm, StandsStillToTheLetterWhereTheProfileDoes) {
  const std::vector<Step> steps = {Hold{1000, ns_per_s}, RampByTime{0, ns_per_s}, Hold{0, ns_per_s}};
  EXPECT_EQ(changes_of(Profile(steps)).back().rpm, 0);
}

TEST(SteppedRpm, WorstErrorIsTheSteepestSlopeTimesTheLag) {
  const std::vector<Step> ramp = {Hold{1000, ns_per_s}, RampByRate{2000, 100}};
  EXPECT_NEAR(worst_ramp_error_rpm(Profile(ramp), timing), 100 * 0.040 + 0.1, 1e-9);
  // A sine of swing 40 and period 2 s is steepest in its middle: 40 * 2 pi / 2.
  const std::vector<Step> wave = {Wave{3720, 40, 2 * ns_per_s, 10 * ns_per_s}};
  EXPECT_NEAR(worst_ramp_error_rpm(Profile(wave), timing), 40 * 3.14159265 * 0.040 + 0.1, 1e-6);
}

// ---- what the judge makes of it ---------------------------------------------------

// The profile as a source within this lag may play it: all of it early, or late.
RunResult judged(Nanos shift, Nanos lag_told, double threshold_error_rpm = 0) {
  const Gauge gauge = test::small_gauge();
  const std::vector<Step> steps = {Hold{2900, 2 * ns_per_s},
                                   RampByRate{3100, 20},
                                   RampByRate{2900, 20},
                                   RampByRate{3100, 100},
                                   RampByRate{2900, 100},
                                   Hold{2900, ns_per_s},
                                   StepTo{3100},
                                   Hold{3100, ns_per_s},
                                   StepTo{2900},
                                   Hold{2900, ns_per_s}};
  const Profile profile(steps);
  test::SampledUnit unit;
  unit.response = 50 * ns_per_ms;
  unit.sample = ns_per_ms;
  unit.threshold_error_rpm = threshold_error_rpm;
  std::vector<LampEvent> events = unit.watch(gauge, profile);
  for (LampEvent& event : events) event.at = std::max<Nanos>(event.at + (event.at > 0 ? shift : 0), 0);
  JudgeSetup setup;
  setup.bench.source.lag = lag_told;
  Judge judge(gauge, setup);
  for (const Segment& segment : profile.segments()) judge.rpm(segment);
  judge.lamps(events);
  return judge.finish(profile.duration());
}

TEST(SourceLag, ASignalThatIsEarlyOrLateByItFailsNoUnit) {
  const Nanos lag = 30 * ns_per_ms;
  for (const Nanos shift : {-lag, -lag / 2, Nanos{0}, lag / 2, lag}) {
    const RunResult result = judged(shift, lag);
    EXPECT_NE(result.verdict, Verdict::fail) << shift;
    EXPECT_TRUE(result.findings.empty()) << shift << ": " << result.findings.front().message;
  }
}

TEST(SourceLag, WithoutItTheSameSignalWouldFailTheUnit) {
  EXPECT_EQ(judged(-60 * ns_per_ms, 0).verdict, Verdict::fail);
  EXPECT_NE(judged(-60 * ns_per_ms, 60 * ns_per_ms).verdict, Verdict::fail);
}

TEST(SourceLag, IsInTheUncertaintyOfEveryThreshold) {
  const RunResult sure = judged(0, 0), unsure = judged(0, 30 * ns_per_ms);
  ASSERT_EQ(sure.boundaries.size(), unsure.boundaries.size());
  for (std::size_t i = 0; i < sure.boundaries.size(); ++i) {
    const BoundaryResult& row = unsure.boundaries[i];
    EXPECT_GT(row.expanded_uncertainty_rpm, sure.boundaries[i].expanded_uncertainty_rpm);
    EXPECT_TRUE(std::any_of(row.budget.begin(), row.budget.end(),
                            [](const BudgetLine& line) { return line.component == "source steps"; }));
    // However the signal came, early or late, the true threshold is within U.
    for (const Nanos shift : {-30 * ns_per_ms, 30 * ns_per_ms}) {
      const BoundaryResult shifted = judged(shift, 30 * ns_per_ms).boundaries[i];
      EXPECT_LE(std::abs(shifted.threshold_rpm - shifted.nominal_rpm), shifted.expanded_uncertainty_rpm);
    }
  }
}

TEST(SourceLag, AMovedBoundaryStillFails) {
  EXPECT_EQ(judged(10 * ns_per_ms, 30 * ns_per_ms, 12).verdict, Verdict::fail);
}

}  // namespace
}  // namespace tachproof
