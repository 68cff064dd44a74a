// The middle of a unit's own deadband, from one visit with an even signal.
#include "core/plan/dwell_visit.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>

namespace tachproof {
namespace {

using Rate = DwellVisits::Rate;

constexpr Nanos settling = 60 * ns_per_ms;

Gauge gauge_of(double deadband, double next_rpm = 4200) {
  Gauge gauge;
  gauge.pulses_per_rev = 2;
  gauge.lamps = {{"near", {"white"}}, {"far", {"blue"}}};
  gauge.windows = {{"calm", 0, {}}, {"brisk", 3600, {1, 0}}, {"hasty", next_rpm, {2, 0}}};
  gauge.deadband = {deadband, Sits::below};
  gauge.tolerance.rpm = 3;
  gauge.tolerance.response_to = 120 * ns_per_ms;
  return gauge;
}

// A unit that answers `response` late, by the rpm of the signal: no part of this project's own unit.
std::vector<DwellVisit::Change> shown(const DwellVisit& visit, double rising, double falling,
                                      Nanos response) {
  const Profile profile(visit.steps(settling));
  std::vector<DwellVisit::Change> changes;
  bool high = false;
  for (Nanos t = 0; t < profile.duration(); t += 10'000) {
    const double rpm = profile.rpm_at(std::max<Nanos>(t - response, 0));
    if (high ? rpm >= falling : rpm < rising) continue;
    high = !high;
    changes.push_back({t, high});
  }
  return changes;
}

RC_GTEST_PROP(DwellVisit, FindsTheMiddleWhateverTheResponse, ()) {
  const double deadband = *rc::gen::inRange(1, 60);
  const double own = deadband + *rc::gen::inRange(-10, 11) * 0.1, off = *rc::gen::inRange(-30, 31) * 0.1;
  const Gauge gauge = gauge_of(deadband);
  const double middle = 3600 - deadband / 2;
  const Nanos response = *rc::gen::inRange(0, 115) * ns_per_ms;
  const auto visit = DwellVisits(gauge, 1).brief(*rc::gen::element(Rate::fast, Rate::slow), middle);
  const auto found =
      visit.seen(shown(visit, middle + off + own / 2, middle + off - own / 2, response), settling);
  RC_ASSERT(found.has_value());
  RC_ASSERT(std::abs(found->middle_rpm() - middle - off) < 0.01);
}

// As if its deadband were a third of what is set: after the jump over the inside it has changed already.
TEST(DwellVisit, DoesNotTakeAChangeThatTheJumpMadeForOneOfTheRamp) {
  const Gauge gauge = gauge_of(40);
  const auto visit = DwellVisits(gauge, 1).brief(Rate::fast, 3580);
  EXPECT_EQ(visit.seen(shown(visit, 3587, 3573, 20 * ns_per_ms), settling), std::nullopt);
  EXPECT_EQ(visit.seen(shown(visit, 3600, 3573, 20 * ns_per_ms), settling), std::nullopt);
  const auto whole = DwellVisits(gauge, 1).whole(Rate::fast, 3580, DwellVisits(gauge, 1).usual_half());
  const auto found = whole.seen(shown(whole, 3589, 3573, 20 * ns_per_ms), settling);
  ASSERT_TRUE(found);
  EXPECT_NEAR(found->middle_rpm(), 3581, 0.01);
}

TEST(DwellVisit, FindsNothingWhereTheLampsDoNotChange) {
  const Gauge gauge = gauge_of(10);
  const auto visit = DwellVisits(gauge, 1).brief(Rate::fast, 3595);
  EXPECT_EQ(visit.seen({}, settling), std::nullopt);
  EXPECT_EQ(visit.seen(shown(visit, 3700, 3690, 0), settling), std::nullopt);
  EXPECT_EQ(visit.seen(std::vector<DwellVisit::Change>{{400 * ns_per_ms, true}}, settling), std::nullopt);
}

// It answers when the signal is on its way down again.
TEST(DwellVisit, DoesNotTakeAnAnswerThatComesTooLateForOne) {
  for (const double deadband : {4.0, 40.0}) {
    const Gauge gauge = gauge_of(deadband);
    const double middle = 3600 - deadband / 2;
    const auto visit = DwellVisits(gauge, 1).brief(Rate::fast, middle);
    EXPECT_EQ(visit.seen(shown(visit, 3604, 3604 - deadband, 300 * ns_per_ms), settling), std::nullopt);
  }
}

// About where the lamps changed, which holds the response already: at another rate and at the same one.
RC_GTEST_PROP(DwellVisit, FindsTheSameAgainInLessTime, ()) {
  const double deadband = *rc::gen::inRange(1, 60), off = *rc::gen::inRange(-30, 31) * 0.1;
  const Gauge gauge = gauge_of(deadband);
  const DwellVisits visits(gauge, 1);
  const double middle = 3600 - deadband / 2, rising = middle + off + deadband / 2;
  const Nanos response = *rc::gen::inRange(0, 115) * ns_per_ms;
  const auto visit_of = [&](const DwellVisit& visit, double moved) {
    return visit.seen(shown(visit, rising + moved, rising + moved - deadband, response), settling);
  };
  const auto first = visits.brief(Rate::fast, middle);
  const auto seen = visit_of(first, 0);
  RC_ASSERT(seen.has_value());
  const double moved = *rc::gen::inRange(-12, 13) * 0.1;  // since then
  std::optional<double> response_s;
  for (const Rate rate : {Rate::slow, Rate::fast}) {
    const auto again = visits.again(rate, *seen, response_s);
    const auto found = visit_of(again, moved);
    RC_ASSERT(found.has_value());
    RC_ASSERT(std::abs(found->middle_rpm() - middle - off - moved) < 0.01);
    if (rate == Rate::fast) RC_ASSERT(again.lasts(settling) < first.lasts(settling));
    if (rate == Rate::fast) break;
    const auto still = visit_of(again, 0);
    RC_ASSERT(still.has_value());
    response_s = still->response_s(*seen);
    RC_ASSERT(std::abs(*response_s - to_seconds(response)) < 0.001);
    RC_ASSERT(visit_of(visits.again(rate, *seen, response_s), moved).has_value());
    RC_ASSERT(visits.again(rate, *seen, response_s).lasts(settling) < again.lasts(settling));
  }
}

TEST(DwellVisit, TakesNoLongerForAWideDeadband) {
  const auto s = [](double deadband) {
    const DwellVisits visits(gauge_of(deadband), 1);
    return to_seconds(visits.brief(Rate::fast, visits.nominal_rpm()).lasts(settling));
  };
  EXPECT_NEAR(s(60), s(40), 1e-9);
  EXPECT_LT(s(40), 1.5);
}

RC_GTEST_PROP(DwellVisit, MeetsNoOtherBoundaryAndLastsAsLongAsItSays, ()) {
  const double gap = *rc::gen::inRange(20, 400), deadband = *rc::gen::inRange(1, 20);
  const Gauge gauge = gauge_of(std::min(deadband, gap / 2), 3600 + gap);
  const double middle = 3600 - gauge.deadband.rpm / 2;
  const DwellVisits visits(gauge, 1);
  for (const DwellVisit& visit : {visits.brief(Rate::fast, middle), visits.brief(Rate::slow, middle),
                                  visits.whole(Rate::fast, middle, visits.widest_half())}) {
    const std::vector<Step> steps = visit.steps(settling);
    const Profile profile(steps);
    RC_ASSERT(profile.duration() == visit.lasts(settling));
    for (Nanos t = 0; t < profile.duration(); t += ns_per_ms)
      RC_ASSERT(profile.rpm_at(t) < 3600 + gap - gauge.deadband.rpm);
  }
}

}  // namespace
}  // namespace tachproof
