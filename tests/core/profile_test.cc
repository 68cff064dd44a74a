#include "core/signal/profile.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <limits>

#include "tests/core/profile_of.h"

namespace tachproof {
namespace {

using Shape = Segment::Shape;

std::string refusal(std::vector<Step> steps) {
  try {
    Profile profile(steps);
  } catch (const std::invalid_argument& e) {
    return e.what();
  }
  return "accepted";
}

TEST(Profile, StartsARampThatComesFirstFromStandstill) {
  const Profile p = profile_of({RampByRate{3000, 1000}});
  EXPECT_EQ(p.duration(), 3 * ns_per_s);
  EXPECT_EQ(p.rpm_at(0), 0);
  EXPECT_DOUBLE_EQ(p.rpm_at(ns_per_s), 1000);
  EXPECT_DOUBLE_EQ(p.slope_at(ns_per_s), 1000);
  EXPECT_EQ(p.rpm_at(3 * ns_per_s), 3000);
}

TEST(Profile, SpeaksForTheLaterSegmentAtAnEdgeAndKeepsTheLastValueAfterTheEnd) {
  const Profile p =
      profile_of({Hold{2000, ns_per_s}, StepTo{3700}, Hold{3700, ns_per_s}, RampByTime{100, ns_per_s}});
  EXPECT_EQ(p.rpm_at(-1), 0);
  EXPECT_EQ(p.rpm_at(ns_per_s - 1), 2000);
  EXPECT_EQ(p.rpm_at(ns_per_s), 3700);
  EXPECT_EQ(p.slope_at(2 * ns_per_s), -3600);
  EXPECT_EQ(p.rpm_at(10 * ns_per_s), 100);
  EXPECT_EQ(p.slope_at(10 * ns_per_s), 0);
  EXPECT_EQ(p.highest_rpm(), 3700);
  EXPECT_EQ(p.lowest_rpm(), 100);
}

TEST(Profile, MakesNoSegmentOfARampToWhereItIs) {
  const Profile p = profile_of({Hold{2000, ns_per_s}, RampByRate{2000, 5}, StepTo{2000}, Hold{2000, 0}});
  EXPECT_EQ(p.segments().size(), 1u);
  EXPECT_EQ(p.duration(), ns_per_s);
}

TEST(Profile, TakesItsTimeForATimedRampToWhereItIs) {
  const Profile p = profile_of({StepTo{2000}, RampByTime{2000, ns_per_s}});
  ASSERT_EQ(p.segments().size(), 1u);
  EXPECT_EQ(p.segments()[0].shape, Shape::constant);
  EXPECT_EQ(p.duration(), ns_per_s);
}

TEST(Profile, LosesNothingOverTenThousandRampsOfAThirdOfASecond) {
  const Profile p = profile_of({Repeat{5000, {RampByRate{100, 300}, RampByRate{0, 300}}}, Hold{0, ns_per_s}});
  const Instant& last = p.segments().back().start;
  // 10,000/3 s is 3333333333333.33.. ns.
  EXPECT_EQ(last.whole, 3'333'333'333'333);
  EXPECT_NEAR(last.frac_ns, 1.0 / 3, 1e-10);
}

TEST(Profile, NeverPassesARampsTarget) {
  for (int rate = 1; rate < 2000; rate += 7) {
    const Profile p = profile_of({StepTo{8200.1}, RampByRate{3720.3, rate / 3.0},
                                  RampByRate{7600.7, rate / 7.0}, RampByTime{0, 13 * ns_per_s}});
    for (const Segment& g : p.segments()) {
      EXPECT_GE(g.lowest_rpm(), &g == &p.segments()[2] ? 0 : 3720.3);
      EXPECT_LE(g.highest_rpm(), 8200.1);
    }
    const Segment& up = p.segments()[1];
    EXPECT_LE(up.rpm(up.lasts_s), 7600.7);
  }
}

TEST(Profile, KeepsTheSpeedDuringAPressAndTellsThePeakSoFar) {
  const Profile p =
      profile_of({Hold{2000, ns_per_s}, Wave{3720, 40, 2 * ns_per_s, 10 * ns_per_s},
                  Press{"capture", 200 * ns_per_ms}, StepTo{9000}, Ask{"Peak?", Ask::Wants::peak, 0, 10, ""},
                  Hold{9000, ns_per_s}, Ask{"Now?", Ask::Wants::text, 0, 0, ""}});
  ASSERT_EQ(p.actions().size(), 3u);
  EXPECT_EQ(p.actions()[0].at, 11 * ns_per_s);
  EXPECT_EQ(std::get<Press>(p.actions()[0].what).action, "capture");
  EXPECT_EQ(p.actions()[0].peak_rpm, 3760);
  EXPECT_NEAR(p.rpm_at(11 * ns_per_s + 100 * ns_per_ms), 3720, 1e-9);
  // The step to 9000 takes no time, so 9000 has not been there yet.
  EXPECT_EQ(p.actions()[1].at, 11'200 * ns_per_ms);
  EXPECT_EQ(p.actions()[1].peak_rpm, 3760);
  EXPECT_EQ(p.actions()[2].peak_rpm, 9000);
}

TEST(Profile, PutsAWavesExtremesOnlyWhereItGetsThem) {
  const auto first = [](Nanos lasts, double swing) {
    return profile_of({Wave{1000, swing, 4 * ns_per_s, lasts}}).segments().front();
  };
  EXPECT_EQ(first(ns_per_s, 500).highest_rpm(), 1500);
  EXPECT_EQ(first(ns_per_s, 500).lowest_rpm(), 1000);
  EXPECT_EQ(first(3 * ns_per_s, 500).lowest_rpm(), 500);
  EXPECT_EQ(first(ns_per_s, -500).highest_rpm(), 1000);
  EXPECT_EQ(first(ns_per_s, -500).lowest_rpm(), 500);
  EXPECT_NEAR(first(ns_per_s / 2, 500).highest_rpm(), 1000 + 500 * std::sqrt(0.5), 1e-9);
}

TEST(Profile, RefusesWhatNoEngineDoes) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const std::string rpm = "profile: an rpm must be within 0..20000";
  EXPECT_EQ(refusal({Hold{-1, 1}}), rpm);
  EXPECT_EQ(refusal({Hold{20'000.1, 1}}), rpm);
  EXPECT_EQ(refusal({StepTo{nan}}), rpm);
  EXPECT_EQ(refusal({RampByRate{20'001, 1}}), rpm);
  EXPECT_EQ(refusal({RampByTime{-0.1, ns_per_s}}), rpm);
  EXPECT_EQ(refusal({RampByRate{10, 0}}), "profile: a rate must be above 0");
  EXPECT_EQ(refusal({RampByRate{10, nan}}), "profile: a rate must be above 0");
  EXPECT_EQ(refusal({Hold{10, -1}}), "profile: a time must not be below 0");
  EXPECT_EQ(refusal({Wave{100, 101, ns_per_s, ns_per_s}}), "profile: a wave goes below 0 rpm");
  EXPECT_EQ(refusal({Wave{100, -101, ns_per_s, ns_per_s}}), "profile: a wave goes below 0 rpm");
  EXPECT_EQ(refusal({Wave{19'999, 2, ns_per_s, ns_per_s}}), "profile: a wave goes above 20000 rpm");
  EXPECT_EQ(refusal({Wave{100, 1, 0, ns_per_s}}), "profile: a period must be above 0");
  EXPECT_EQ(refusal({Repeat{0, {Hold{1, 1}}}}), "profile: a repeat must be 1 or more");
  EXPECT_EQ(refusal({Repeat{1'000'000, {Hold{1, 1}}}}), "profile: too many steps");
  EXPECT_EQ(refusal({Repeat{2'000'000'000, {Repeat{2'000'000'000, {}}}}}), "profile: too many steps");
  EXPECT_EQ(refusal({Hold{1, 2'000'000'000 * ns_per_s}, Hold{1, 2'000'000'000 * ns_per_s}}),
            "profile: it lasts too long");
  EXPECT_EQ(refusal({RampByRate{1, 1e-300}}), "profile: it lasts too long");
}

LoggedRpm logged(std::vector<LoggedRpm::Sample> samples) {
  return {std::make_shared<const std::vector<LoggedRpm::Sample>>(std::move(samples))};
}

TEST(Profile, FollowsALogLinearlyBetweenItsSamples) {
  const std::vector<Step> steps{
      Hold{1000, ns_per_s}, logged({{0, 2000}, {ns_per_s / 2, 3000}, {ns_per_s, 3000}, {2 * ns_per_s, 2500}}),
      Hold{2500, ns_per_s}};
  const Profile profile(steps);
  EXPECT_EQ(profile.duration(), 4 * ns_per_s);
  EXPECT_EQ(profile.segments().size(), 5u);
  EXPECT_EQ(profile.rpm_at(ns_per_s), 2000);  // it jumps to the first sample
  EXPECT_EQ(profile.rpm_at(5 * ns_per_s / 4), 2500);
  EXPECT_EQ(profile.rpm_at(7 * ns_per_s / 4), 3000);
  EXPECT_EQ(profile.rpm_at(5 * ns_per_s / 2), 2750);
  EXPECT_EQ(profile.highest_rpm(), 3000);
}

TEST(Profile, RefusesALogThatIsNone) {
  const auto refused = [](LoggedRpm log) {
    EXPECT_THROW(Profile(std::vector<Step>{std::move(log)}), std::invalid_argument);
  };
  refused(LoggedRpm{});
  refused(logged({{0, 1000}}));
  refused(logged({{1, 1000}, {2, 1000}}));
  refused(logged({{0, 1000}, {0, 1000}}));
  refused(logged({{0, 1000}, {5, 20'001}}));
  refused(logged(std::vector<LoggedRpm::Sample>(Profile::max_segments + 2)));
}

TEST(Profile, IsNothingWithoutSteps) {
  const Profile p;
  EXPECT_EQ(p.rpm_at(5), 0);
  EXPECT_EQ(p.slope_at(5), 0);
  EXPECT_EQ(p.duration(), 0);
}

// ---- one segment -----------------------------------------------------------

Segment any_segment() {
  Segment g;
  g.shape = *rc::gen::element(Shape::constant, Shape::linear, Shape::sine);
  g.lasts_s = *rc::gen::inRange(1, 100'000) / 1e3;
  g.rpm0 = *rc::gen::inRange(1000, 6000);
  const double other = *rc::gen::inRange(1000, 6000);
  if (g.shape == Shape::linear) g.slope_rpm_per_s = (other - g.rpm0) / g.lasts_s;
  if (g.shape == Shape::sine) {
    g.swing_rpm = *rc::gen::inRange(-1000, 1000);
    g.period_s = *rc::gen::inRange(1, 5000) / 1e3;
  }
  return g;
}

RC_GTEST_PROP(Segment, SlopeIsTheDerivativeOfRpmAndTurnsTheIntegral, ()) {
  const Segment g = any_segment();
  const double h = 1e-5 * (g.shape == Shape::sine ? g.period_s : g.lasts_s);
  const double s = h + (g.lasts_s - 2 * h) * *rc::gen::inRange(0, 1001) / 1000.0;
  const double slope = (g.rpm(s + h) - g.rpm(s - h)) / (2 * h);
  RC_ASSERT(std::abs(g.slope(s) - slope) <= 1e-5 * (std::abs(g.swing_rpm) / h * 1e-3 + std::abs(slope) + 1));
  const double turns = (g.turns(s + h) - g.turns(s - h)) / (2 * h) * 60;
  RC_ASSERT(std::abs(g.rpm(s) - turns) <= 1e-5 * 6000 + 1e-10 * g.turns(s) / h * 60);
  RC_ASSERT(g.turns(0) == 0.0);
}

// Nothing between `from` and the answer is there already; the answer is.
RC_GTEST_PROP(Segment, ReachesALevelWhereItSaysAndNotBefore, ()) {
  const Segment g = any_segment();
  const bool rising = *rc::gen::arbitrary<bool>();
  const double from = g.lasts_s * *rc::gen::inRange(0, 1000) / 1000.0;
  // Often exactly an extreme or a speed that the segment starts or ends with.
  const double level = *rc::gen::element(g.rpm0, g.rpm(g.lasts_s), g.highest_rpm(), g.lowest_rpm(),
                                         static_cast<double>(*rc::gen::inRange(900, 6100)));
  const auto there = [&](double s) { return rising ? g.rpm(s) >= level : g.rpm(s) < level; };
  const auto found = g.reaches(level, rising, from);
  const double until = found.value_or(g.lasts_s);
  RC_ASSERT(until >= from && until <= g.lasts_s);
  if (found) RC_ASSERT(there(*found));
  // Near an extreme rounding blurs the instant by about 1e-8 of a period.
  const double margin = g.shape == Shape::sine ? 1e-6 * g.period_s : 1e-12 * g.lasts_s;
  for (int i = 0; i < 2000; ++i) {
    const double s = from + (until - from) * i / 2000;
    if (s < until - margin) RC_ASSERT(!there(s) || (found && *found == s));
  }
}

TEST(Segment, TellsEveryCrossingOfAWave) {
  const Segment g{
      .shape = Shape::sine, .start = {}, .lasts_s = 10, .rpm0 = 3720, .swing_rpm = 40, .period_s = 2};
  // sin = 1/2 at 1/12 and 5/12 of a period.
  double s = 0;
  for (int n = 0; n < 5; ++n) {
    s = g.reaches(3740, true, s).value();
    EXPECT_NEAR(s, 2 * n + 2.0 / 12, 1e-12);
    s = g.reaches(3740, false, s).value();
    EXPECT_NEAR(s, 2 * n + 10.0 / 12, 1e-12);
  }
  EXPECT_FALSE(g.reaches(3740, true, s).has_value());
  EXPECT_DOUBLE_EQ(g.reaches(3760, true, 0).value(), 0.5);
  EXPECT_FALSE(g.reaches(3760.001, true, 0).has_value());
  EXPECT_FALSE(g.reaches(3680, false, 0).has_value());
}

TEST(Segment, DoesNotFallBackAtTheInstantOfARise) {
  // Without a deadband, the search for the next fall starts where the rise
  // was found; rounding must not find it there.
  for (int i = 1; i < 3000; ++i) {
    const Segment up{
        .shape = Shape::linear, .start = {}, .lasts_s = 60, .rpm0 = 2000.1, .slope_rpm_per_s = i / 7.0};
    const auto rise = up.reaches(2000.1 + i, true, 0);
    ASSERT_TRUE(rise.has_value());
    EXPECT_FALSE(up.reaches(2000.1 + i, false, *rise).has_value());
  }
}

}  // namespace
}  // namespace tachproof
