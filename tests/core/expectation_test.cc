#include "core/judge/expectation.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>
#include <deque>

#include "tests/core/gauges.h"
#include "tests/core/profile_of.h"

namespace tachproof {
namespace {

using test::small_gauge;

TEST(Expectation, OneRampGivesOneTransitionWithItsEarliestAndLatestInstant) {
  // 100 rpm/s from 2900: 3000 is reached at 1 s. T = 3 rpm is 30 ms either
  // way; the response may be 0 to 100 ms. Worked by hand.
  const Profile profile = profile_of({Hold{2900, ns_per_s}, RampByRate{3100, 100}});
  const ExpectedRun run = expect(small_gauge(), profile);
  ASSERT_EQ(run.transitions.size(), 1u);
  const ExpectedTransition& t = run.transitions[0];
  EXPECT_EQ(t.boundary, 1u);
  EXPECT_EQ(t.direction, Direction::rising);
  EXPECT_EQ(t.nominal_rpm, 3000);
  EXPECT_NEAR(to_seconds(t.earliest), 1.97, 1e-8);
  EXPECT_NEAR(to_seconds(t.nominal), 2.00, 1e-8);
  EXPECT_NEAR(to_seconds(t.latest), 2.13, 1e-8);
  // Dark is what it must show while nothing can be believed to reach 2997.
  EXPECT_THAT(run.reaches,
              testing::ElementsAre(Reach{0, 0, 0}, Reach{t.earliest, 0, 1}, Reach{t.latest, 1, 1}));
}

TEST(Expectation, FallsAtTheBoundaryLessTheDeadband) {
  const Profile profile =
      profile_of({StepTo{3100}, Hold{3100, ns_per_s}, RampByRate{2900, 100}, Hold{2900, ns_per_s}});
  const ExpectedRun run = expect(small_gauge(), profile);
  ASSERT_EQ(run.transitions.size(), 2u);
  EXPECT_EQ(run.transitions[0].earliest, 0);  // the step at 0
  EXPECT_EQ(run.transitions[0].latest, 100 * ns_per_ms);
  const ExpectedTransition& t = run.transitions[1];
  EXPECT_EQ(t.direction, Direction::falling);
  EXPECT_EQ(t.nominal_rpm, 2992);
  EXPECT_NEAR(to_seconds(t.earliest), 1 + 1.05, 1e-8);  // 2995
  EXPECT_NEAR(to_seconds(t.nominal), 1 + 1.08, 1e-8);   // 2992
  EXPECT_NEAR(to_seconds(t.latest), 1 + 1.11 + 0.1, 1e-8);
}

TEST(Expectation, ARampThatTurnsInsideTheDeadbandDemandsNoFall) {
  const Profile profile = profile_of({Hold{2900, ns_per_s}, RampByRate{3050, 50}, RampByRate{2996, 50},
                                      RampByRate{3050, 50}, Hold{3050, ns_per_s}});
  const ExpectedRun run = expect(small_gauge(), profile);
  ASSERT_EQ(run.transitions.size(), 1u);
  EXPECT_EQ(run.reaches.back().lowest, 1u);
  EXPECT_EQ(run.reaches.back().highest, 1u);
}

TEST(Expectation, ATurnWithinToleranceOfTheThresholdMayButNeedNotMoveTheLamp) {
  const Profile profile =
      profile_of({Hold{2900, ns_per_s}, RampByRate{3001, 50}, RampByRate{2900, 50}, Hold{2900, ns_per_s}});
  const ExpectedRun run = expect(small_gauge(), profile);
  EXPECT_TRUE(run.transitions.empty());
  EXPECT_TRUE(
      std::any_of(run.reaches.begin(), run.reaches.end(), [](const Reach& r) { return r.highest == 1; }));
}

TEST(Expectation, AStepOverSeveralWindowsDemandsEveryBoundaryWithinTheResponse) {
  const Profile profile = profile_of(
      {Hold{1000, ns_per_s}, StepTo{6000}, Hold{6000, ns_per_s}, StepTo{1000}, Hold{1000, ns_per_s}});
  const ExpectedRun run = expect(small_gauge(), profile);
  ASSERT_EQ(run.transitions.size(), 4u);
  for (std::size_t i = 0; i < 4; ++i) {
    const Nanos step = i < 2 ? ns_per_s : 2 * ns_per_s;
    EXPECT_EQ(run.transitions[i].earliest, step);
    EXPECT_EQ(run.transitions[i].latest, step + 100 * ns_per_ms);
  }
}

TEST(Expectation, BeginsInTheWindowThatTheFirstRpmBelongsTo) {
  Gauge gauge = small_gauge();
  ExpectationOptions options;
  options.before = ExpectationOptions::Before::unknown;
  const ExpectedRun inside = expect(gauge, profile_of({Hold{4000, ns_per_s}}), options);
  EXPECT_THAT(inside.reaches, testing::ElementsAre(Reach{0, 1, 1}));
  // 2995 lies in the deadband: the past decides, and it is not known.
  const ExpectedRun between = expect(gauge, profile_of({Hold{2995, ns_per_s}}), options);
  EXPECT_THAT(between.reaches, testing::ElementsAre(Reach{0, 0, 1}));
  EXPECT_TRUE(between.transitions.empty());
}

TEST(Expectation, AStoppedSignalMayBeNoticedByATimeOutOnly) {
  const Profile profile = profile_of({Hold{4000, ns_per_s}, StepTo{0}, Hold{0, 3 * ns_per_s}});
  const ExpectedRun run = expect(small_gauge(), profile);
  ASSERT_EQ(run.transitions.size(), 2u);
  EXPECT_EQ(run.transitions[1].earliest, ns_per_s);
  EXPECT_EQ(run.transitions[1].latest, 2 * ns_per_s);  // tolerance.signal_lost
}

// The second route: the definition itself, sampled. At every sample the set of
// believable rpm is searched over the response, and two triggers step along.
struct Sampled {
  std::size_t lowest, highest;
};
// The smallest of the values that were added last, from index `first` on.
class Sliding {
 public:
  void add(double value) {
    while (!kept_.empty() && kept_.back().second >= value) kept_.pop_back();
    kept_.emplace_back(added_++, value);
  }
  double smallest_from(std::size_t first) {
    while (kept_.front().first < first) kept_.pop_front();
    return kept_.front().second;
  }

 private:
  std::deque<std::pair<std::size_t, double>> kept_;  // index and value, both rising
  std::size_t added_ = 0;
};

// `wider` > 0 gives the unit that much more freedom than the gauge does, in rpm
// and by one sample of response; < 0 as much less.
std::vector<Sampled> sampled_reach(const Gauge& gauge, const Profile& profile, Nanos step, double wider_rpm) {
  const Nanos from = gauge.tolerance.response_from, to = gauge.tolerance.response_to;
  const Nanos before_start = to + step;
  std::vector<double> here, low, high;  // low and high: of the two sides of a step
  for (Nanos t = -before_start; t <= profile.duration(); t += step) {
    const double before = t <= 0 ? 0 : profile.rpm_at(t - 1);
    here.push_back(t < 0 ? 0 : profile.rpm_at(t));
    low.push_back(std::min(here.back(), before));
    high.push_back(std::max(here.back(), before));
  }
  const auto n_from = static_cast<std::size_t>(from / step), n_to = static_cast<std::size_t>(to / step);
  std::vector<Sampled> out;
  Sliding least_of, most_of;
  std::size_t lowest = 0, highest = 0, added = 0;
  for (std::size_t i = n_to + 1; i < here.size(); ++i) {
    const std::size_t last = i - n_from;
    std::size_t first = wider_rpm > 0 ? i - n_to - 1 : i - n_to + 1;
    first = std::min(first, last);
    for (; added <= last; ++added) {
      least_of.add(low[added]);
      most_of.add(-high[added]);
    }
    double least = here[first], most = here[first];
    if (first < last) {
      least = std::min(least, least_of.smallest_from(first + 1));
      most = std::max(most, -most_of.smallest_from(first + 1));
    }
    const double t_rpm = gauge.tolerance.rpm + wider_rpm;
    lowest = next_window(gauge, lowest, least - t_rpm);
    highest = next_window(gauge, highest, most + t_rpm);
    out.push_back({lowest, highest});
  }
  return out;
}

rc::Gen<Step> any_step() {
  const auto rpm = rc::gen::map(rc::gen::inRange(2900, 5200), [](int r) { return static_cast<double>(r); });
  const auto ms = rc::gen::map(rc::gen::inRange(1, 400), [](int m) { return m * ns_per_ms; });
  return rc::gen::oneOf(
      rc::gen::map(rc::gen::pair(rpm, ms),
                   [](const auto& p) {
                     return Step(Hold{p.first, p.second});
                   }),
      rc::gen::map(rc::gen::pair(rpm, ms),
                   [](const auto& p) {
                     return Step(RampByTime{p.first, p.second});
                   }),
      rc::gen::map(rpm, [](double r) { return Step(StepTo{r}); }),
      rc::gen::map(rc::gen::tuple(rpm, ms, ms), [](const auto& p) {
        return Step(Wave{std::get<0>(p), 60, std::get<1>(p) + 20 * ns_per_ms, std::get<2>(p)});
      }));
}

// Empty, or where the closed form and its definition differ. Samples miss the top
// of a wave by up to 60 * (2 pi * 0.125 ms / 20 ms)^2 / 2 = 0.047 rpm, and a wait
// that ends between two of them: the closed form lies between a sampled one with
// a little less freedom and one with a little more, within two samples of time.
std::string disagreement(const Gauge& gauge, const Profile& profile) {
  const ExpectedRun run = expect(gauge, profile);
  const Nanos step = 250 * ns_per_us;
  const std::vector<Sampled> inner = sampled_reach(gauge, profile, step, -0.05);
  const std::vector<Sampled> outer = sampled_reach(gauge, profile, step, 0.05);
  const auto near = [&](Nanos t, auto holds) {
    for (Nanos off = 0; off <= 2 * step; off += step / 10)
      for (const Nanos x : {t - off, t + off}) {
        if (x < 0) continue;
        const auto after = std::upper_bound(run.reaches.begin(), run.reaches.end(), x,
                                            [](Nanos a, const Reach& r) { return a < r.from; });
        if (holds(*std::prev(after))) return true;
      }
    return false;
  };
  for (std::size_t i = 0; i < inner.size(); ++i) {
    const Nanos t = static_cast<Nanos>(i) * step;
    const char* wrong = nullptr;
    if (!near(t, [&](const Reach& r) { return r.lowest <= inner[i].lowest; })) wrong = "lowest too high";
    if (!near(t, [&](const Reach& r) { return r.lowest >= outer[i].lowest; })) wrong = "lowest too low";
    if (!near(t, [&](const Reach& r) { return r.highest >= inner[i].highest; })) wrong = "highest too low";
    if (!near(t, [&](const Reach& r) { return r.highest <= outer[i].highest; })) wrong = "highest too high";
    if (wrong != nullptr) return wrong + (" at " + std::to_string(t)) + " ns";
  }
  return "";
}

RC_GTEST_PROP(Expectation, AgreesWithItsDefinitionSampled, ()) {
  Gauge gauge = small_gauge();
  gauge.tolerance.response_from = *rc::gen::inRange(0, 30) * ns_per_ms;
  gauge.tolerance.response_to = gauge.tolerance.response_from + *rc::gen::inRange(0, 80) * ns_per_ms;
  gauge.tolerance.rpm = *rc::gen::inRange(0, 6);
  auto steps = *rc::gen::container<std::vector<Step>>(any_step());
  steps.push_back(Hold{*rc::gen::element(2950.0, 4000.0, 5100.0), 300 * ns_per_ms});
  RC_ASSERT(disagreement(gauge, Profile{std::span<const Step>(steps)}) == "");
}

// The top of the wave is the threshold itself, and between two samples.
TEST(Expectation, AgreesWithItsDefinitionWhereAWaveJustTouchesAThreshold) {
  Gauge gauge = small_gauge();
  gauge.tolerance.response_from = gauge.tolerance.response_to = 10 * ns_per_ms;
  gauge.tolerance.rpm = 0;
  for (const Nanos period : {20, 21, 22, 23, 41})
    EXPECT_EQ(disagreement(gauge, profile_of({Hold{2900, 300 * ns_per_ms},
                                              Wave{2940, 60, period * ns_per_ms, 200 * ns_per_ms},
                                              Hold{2994, 300 * ns_per_ms}})),
              "")
        << "period " << period << " ms";
}

RC_GTEST_PROP(Expectation, HoldsEveryUnitThatKeepsTheTolerance, ()) {
  const Gauge gauge = small_gauge();
  auto steps = *rc::gen::nonEmpty(rc::gen::container<std::vector<Step>>(any_step()));
  steps.push_back(Hold{3500, 100 * ns_per_ms});
  const Profile profile{std::span<const Step>(steps)};
  test::SampledUnit unit;
  unit.response = *rc::gen::inRange(0, 100) * ns_per_ms;
  unit.threshold_error_rpm = *rc::gen::inRange(-29, 30) / 10.0;
  Gauge real = gauge;
  const ExpectedRun run = expect(gauge, profile);
  std::size_t window = 0, k = 0;
  for (Nanos t = 0; t <= profile.duration(); t += ns_per_ms) {
    const double believed =
        t < unit.response ? 0 : profile.rpm_at(t - unit.response) - unit.threshold_error_rpm;
    window = next_window(real, window, believed);
    while (k + 1 < run.reaches.size() && run.reaches[k + 1].from <= t) ++k;
    RC_ASSERT(run.reaches[k].lowest <= window);
    RC_ASSERT(window <= run.reaches[k].highest);
  }
}

TEST(Expectation, StreamsTheSameInAnyPortions) {
  const Profile profile =
      profile_of({Hold{2900, ns_per_s}, RampByRate{5200, 400}, Wave{3000, 50, ns_per_s, 5 * ns_per_s},
                  StepTo{5100}, Hold{5100, ns_per_s}});
  const Gauge gauge = small_gauge();
  const ExpectedRun whole = expect(gauge, profile);
  Expectation streamed(gauge);
  std::vector<Reach> reaches;
  Nanos known = 0;
  const auto take = [&] {
    const Expectation::Decided d = streamed.take();
    for (const Reach& r : d.reaches) EXPECT_GE(r.from, known == 0 ? 0 : known);
    reaches.insert(reaches.end(), d.reaches.begin(), d.reaches.end());
    known = d.known_until;
  };
  for (const Segment& s : profile.segments()) {
    streamed.add(s);
    take();
  }
  streamed.finish(profile.duration() + 2 * ns_per_s);
  take();
  ASSERT_GE(reaches.size(), whole.reaches.size());
  EXPECT_TRUE(std::equal(whole.reaches.begin(), whole.reaches.end(), reaches.begin()));
}

}  // namespace
}  // namespace tachproof
