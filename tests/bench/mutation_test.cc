// The judge judged, in small; and what judging it in large has found.
#include "tests/bench/mutation_study.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/bench/judged_unit.h"
#include "tests/core/gauges.h"
#include "tests/core/judged.h"

namespace tachproof {
namespace {

using test::judged;
using test::SampledUnit;
using test::told;

// Dark, white for a few rpm, dark again: once the white is gone, the lamps
// do not tell which of the two dark windows is shown.
Gauge dark_on_both_sides(double wide_rpm) {
  Gauge gauge = test::small_gauge();
  gauge.windows = {{"quiet", 0, {}}, {"narrow", 3000, {1, 0}}, {"after", 3000 + wide_rpm, {}}};
  gauge.deadband = {4, Sits::below};
  gauge.tolerance.rpm = 6;
  return gauge;
}

TEST(MutationFound, AlikePicturesAreReadTheWayTheRpmGoes) {
  for (const double wide : {4.5, 8.0, 20.0})
    for (const double off : {-5.0, 0.0, 5.0}) {
      const Gauge gauge = dark_on_both_sides(wide);
      const std::vector<Step> there_and_back{Hold{2900, ns_per_s}, RampByRate{3100, 20}, Hold{3100, ns_per_s},
                                             RampByRate{2900, 20}, Hold{2900, ns_per_s}};
      const Profile profile{there_and_back};
      SampledUnit unit;
      unit.sample = ns_per_ms;
      unit.threshold_error_rpm = off;
      const RunResult result = judged(gauge, profile, unit.watch(gauge, profile));
      EXPECT_EQ(result.verdict, Verdict::pass) << wide << " wide, off by " << off << "\n" << told(result);
    }
}

TEST(MutationFound, AFlickerBetweenAlikePicturesIsStillSeen) {
  const Gauge gauge = dark_on_both_sides(8);
  const std::vector<Step> up{Hold{2900, ns_per_s}, RampByRate{3100, 20}, Hold{3100, ns_per_s}};
  const Profile profile{up};
  std::vector<LampEvent> events = SampledUnit{}.watch(gauge, profile);
  ASSERT_EQ(events.size(), 3u);
  // White, dark, white, dark.
  const Nanos first = events[1].at, last = events[2].at;
  events.insert(events.begin() + 2, {{first + (last - first) / 3, 0}, {first + (last - first) / 2, 1}});
  EXPECT_EQ(judged(gauge, profile, events).verdict, Verdict::fail);
}

TEST(MutationFound, ATurnCountsFromWhereTheRpmTurned) {
  // Above for less than the slowest response, and down again: two moves are right.
  const Gauge gauge = test::small_gauge();
  const std::vector<Step> steps{Hold{2900, ns_per_s}, StepTo{3010}, RampByRate{2900, 200},
                                Hold{2900, ns_per_s}};
  const Profile profile{steps};
  const RunResult result = judged(gauge, profile, SampledUnit{}.watch(gauge, profile));
  EXPECT_NE(result.verdict, Verdict::fail) << told(result);
}

TEST(MutationFound, ADipThatEndsWithTheNextStepIsNotForgotten) {
  // Dark is the next window's cue: a supply that fails shortly before a step
  // must not pass for a change that came early and was then made good.
  Gauge gauge = test::small_gauge();
  gauge.windows = {{"quiet", 0, {1, 0}}, {"near", 3000, {}}, {"top", 3020, {2, 0}}};
  const std::vector<Step> steps{Hold{5000, ns_per_s}, Hold{2900, ns_per_s}, Hold{5000, ns_per_s}};
  const Profile profile{steps};
  std::vector<LampEvent> events = SampledUnit{}.watch(gauge, profile);
  const std::size_t quiet = events.size() - 2;
  ASSERT_EQ(events[quiet].lit, 1u);
  const Nanos step = 2 * ns_per_s;
  events.insert(events.begin() + static_cast<std::ptrdiff_t>(quiet) + 1,
                {{step - 300 * ns_per_ms, 0}, {step + 10 * ns_per_ms, 1}});
  const RunResult result = judged(gauge, profile, events);
  EXPECT_EQ(result.verdict, Verdict::fail) << told(result);
  EXPECT_THAT(result.findings,
              testing::Contains(testing::Field(
                  &Finding::message, "the lamps showed the side above boundary near 300.0 ms too early")))
      << told(result);
}

// White between two dark windows.
Gauge dark_white_dark() {
  Gauge gauge = test::small_gauge();
  gauge.windows[2].cue = {};
  gauge.blink.reset();
  return gauge;
}

TEST(MutationFound, AUnitThatFreezesDarkDoesNotPassForTheDarkWindowsOnBothSides) {
  const Gauge gauge = dark_white_dark();
  const std::vector<Step> there_and_back{
      Hold{2900, ns_per_s},   RampByRate{4000, 2000}, Hold{4000, ns_per_s},
      RampByRate{5100, 2000}, Hold{5100, ns_per_s},   RampByRate{4000, 2000},
      Hold{4000, ns_per_s},   RampByRate{2900, 2000}, Hold{2900, ns_per_s}};
  std::vector<Step> steps = there_and_back;
  const Nanos frozen_from = Profile(there_and_back).duration() - ns_per_s / 2;
  for (int i = 0; i < 3; ++i) steps.insert(steps.end(), there_and_back.begin(), there_and_back.end());
  const Profile profile{steps};
  std::vector<LampEvent> events = SampledUnit{}.watch(gauge, profile);
  ASSERT_EQ(judged(gauge, profile, events).verdict, Verdict::pass);

  std::erase_if(events, [&](const LampEvent& event) { return event.at > frozen_from; });
  ASSERT_EQ(events.back().lit, 0u);
  JudgeSetup transitions_only;
  transitions_only.what.steady = false;
  for (const JudgeSetup& setup : {JudgeSetup{}, transitions_only}) {
    const RunResult result = judged(gauge, profile, events, setup);
    EXPECT_EQ(result.verdict, Verdict::fail) << told(result);
    EXPECT_THAT(result.findings,
                testing::Contains(testing::Field(&Finding::kind, FindingKind::missing_transition)))
        << told(result);
  }
}

TEST(MutationFound, LampsThatGoDarkInARestStayWrongWhenTheNextWindowIsDarkAnyway) {
  const Gauge gauge = dark_white_dark();
  for (const double from : {2900.0, 5100.0})
    for (const double to : {2900.0, 5100.0}) {
      const std::vector<Step> steps{Hold{from, ns_per_s},     RampByRate{4000, 2000}, Hold{4000, ns_per_s},
                                    RampByRate{from, 2000},   Hold{from, ns_per_s},   RampByRate{4000, 2000},
                                    Hold{4000, 2 * ns_per_s}, RampByRate{to, 2000},   Hold{to, ns_per_s}};
      const Profile profile{steps};
      std::vector<LampEvent> events = SampledUnit{}.watch(gauge, profile);
      events.back().at -= ns_per_s;  // dark one second too soon
      const RunResult result = judged(gauge, profile, events);
      EXPECT_EQ(result.verdict, Verdict::fail) << from << " to " << to << "\n" << told(result);
    }
}

TEST(MutationFound, AChangeThatNoLampShowsIsNotDatedByTheNextThatOneDoes) {
  // On a fast way down the unit goes from the upper white window to the lower one at once:
  // magenta lasts for less than an update. The lamps move 20 rpm later.
  Gauge gauge = dark_white_dark();
  const Cue white = gauge.windows[1].cue, magenta{gauge.channel("right", "magenta"), 0};
  gauge.windows = {{"quiet", 0, {}}, {"low", 3000, white}, {"thin", 3019.5, magenta}, {"high", 3020, white}};
  std::vector<Step> steps{Hold{2900, ns_per_s}};
  for (const double rate : {10.0, 300.0, 310.0, 320.0, 330.0})
    for (const double to : {3080.0, 2940.0}) {
      steps.push_back(RampByRate{to, rate});
      steps.push_back(Hold{to, ns_per_s});
    }
  const Profile profile{steps};
  SampledUnit unit;
  unit.sample = 10 * ns_per_ms;
  const RunResult result = judged(gauge, profile, unit.watch(gauge, profile));
  EXPECT_NE(result.verdict, Verdict::fail) << told(result);
  for (const BoundaryResult& b : result.boundaries)
    if (b.expanded_uncertainty_rpm > 0) {
      EXPECT_NEAR(b.threshold_rpm, b.nominal_rpm, b.expanded_uncertainty_rpm) << told(result);
    }
}

TEST(MutationFound, AThresholdThatNoLampShowedIsUndecided) {
  // The white window is passed too fast for it ever to be demanded, and the unit has none.
  Gauge gauge = dark_white_dark(), without = gauge;
  gauge.windows[2].from_rpm = without.windows[1].from_rpm = 3010;
  without.windows.pop_back();
  without.windows[1].cue = {};
  gauge.windows.push_back({"top", 3500, {gauge.channel("right", "magenta"), 0}});
  without.windows.push_back(gauge.windows.back());
  std::vector<Step> steps{Hold{2900, ns_per_s}};
  for (const double rate : {400.0, 10.0})
    for (const double from : {3480.0, 2900.0}) {
      const double to = from > 3000 ? 3520 : 2900;
      steps.insert(steps.end(),
                   {RampByRate{from, 400}, RampByRate{to, to > 3000 ? rate : 400}, Hold{to, ns_per_s}});
      if (to > 3000) steps.insert(steps.end(), {RampByRate{3480, rate}, Hold{3480, ns_per_s}});
    }
  const Profile profile{steps};
  JudgeSetup setup;
  setup.what.thresholds = true;
  const RunResult result = judged(gauge, profile, SampledUnit{}.watch(without, profile), setup);
  EXPECT_EQ(result.verdict, Verdict::undecided) << told(result);
  EXPECT_EQ(result.boundaries.size(), 6u);
}

std::string wrong_ones(const MutationStudy& study) {
  std::string all;
  for (const WrongPair& pair : study.wrong)
    all += "pair " + std::to_string(pair.number) + ": " + pair.what + "\n";
  return all;
}

TEST(Mutation, NoFaultyUnitPassesAndNoHealthyOneFails) {
  const MutationStudy study = study_mutations(60, 4, 2);
  EXPECT_TRUE(study.wrong.empty()) << wrong_ones(study);
  EXPECT_GT(study.all_healthy.pairs, 5u);
  // Undecided is neither, but a judge that never decides proves nothing.
  EXPECT_LT(study.all_faulty.undecided, study.all_faulty.pairs / 10);
}

TEST(Mutation, IsTheSameOnAnyNumberOfThreads) {
  const MutationStudy one = study_mutations(6, 5, 1), three = study_mutations(6, 5, 3);
  EXPECT_EQ(one.all_faulty.pairs, three.all_faulty.pairs);
  EXPECT_EQ(one.all_healthy.undecided, three.all_healthy.undecided);
  EXPECT_EQ(wrong_ones(one), wrong_ones(three));
}

}  // namespace
}  // namespace tachproof
