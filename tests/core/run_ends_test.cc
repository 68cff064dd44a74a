// The first and last change of a run, and what the judge makes of a run whose
// time was told by them. What is demanded follows from the gauge file; no published source.
#include "core/camera/run_ends.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/core/gauges.h"
#include "tests/core/judged.h"

namespace tachproof {
namespace {

using test::judged;
using test::SampledUnit;
using test::small_gauge;
using testing::HasSubstr;

std::vector<Step> up_and_down() {
  return {Hold{2800, ns_per_s},     RampByRate{3100, 50},  Hold{3100, ns_per_s},  RampByRate{5100, 1000},
          Hold{5100, 2 * ns_per_s}, RampByRate{4500, 300}, RampByRate{2800, 100}, Hold{2800, ns_per_s}};
}

std::variant<RunEnds, std::string> ends_of(const std::vector<Step>& steps) {
  const Gauge gauge = small_gauge();
  return run_ends(gauge, Profile(steps), gauge.all_channels());
}

std::string refused(const std::vector<Step>& steps) {
  const auto ends = ends_of(steps);
  const std::string* why = std::get_if<std::string>(&ends);
  return why == nullptr ? "" : *why;
}

TEST(RunEnds, HoldTheFirstAndLastChangeOfEverySoundUnit) {
  const Gauge gauge = small_gauge();
  const std::vector<std::vector<Step>> all = {
      up_and_down(),
      {Hold{2000, ns_per_s}, StepTo{4000}, Hold{4000, ns_per_s}, StepTo{2000}, Hold{2000, ns_per_s}},
      // Through the blinking window at either end.
      {Hold{2000, ns_per_s}, StepTo{5500}, Hold{5500, 1730 * ns_per_ms}, StepTo{2000}, Hold{2000, ns_per_s}}};
  for (const std::vector<Step>& steps : all) {
    const auto found = ends_of(steps);
    const RunEnds* ends = std::get_if<RunEnds>(&found);
    ASSERT_NE(ends, nullptr) << refused(steps);
    const Profile profile(steps);
    EXPECT_EQ(ends->duration, profile.duration());
    for (const double error_rpm : {-2.9, 0.0, 2.9})
      for (const Nanos response : {ns_per_ms, 50 * ns_per_ms, 99 * ns_per_ms}) {
        SampledUnit unit;
        unit.threshold_error_rpm = error_rpm;
        unit.response = response;
        const std::vector<LampEvent> seen = unit.watch(gauge, profile);
        ASSERT_GE(seen.size(), 3U);
        EXPECT_GE(seen[1].at, ends->first.earliest);
        EXPECT_LE(seen[1].at, ends->first.latest + unit.sample);
        EXPECT_GE(seen.back().at, ends->last.earliest);
        EXPECT_LE(seen.back().at, ends->last.latest + unit.sample);
        EXPECT_NE((seen[0].lit ^ seen[1].lit) & ends->first.moves, 0U);
        EXPECT_NE((seen[seen.size() - 2].lit ^ seen.back().lit) & ends->last.moves, 0U);
      }
  }
}

TEST(RunEnds, AreRefusedWhereASoundUnitDecidesThem) {
  const Nanos s = ns_per_s;
  EXPECT_THAT(refused({Hold{2000, s}}), HasSubstr("no lamp change; 2 are needed"));
  EXPECT_THAT(refused({Hold{2000, s}, StepTo{3500}, Hold{3500, s}}),
              HasSubstr("only 1 lamp change; 2 are needed"));
  EXPECT_THAT(refused({Hold{2000, s}, StepTo{3001}, Hold{3001, s}, StepTo{2000}, Hold{2000, s}, StepTo{3500},
                       Hold{3500, s}, StepTo{2000}, Hold{2000, s}}),
              HasSubstr("first change may come or not"));
  EXPECT_THAT(refused({Hold{2000, s}, StepTo{3500}, Hold{3500, s}, StepTo{2000}, Hold{2000, s}, StepTo{3001},
                       Hold{3001, s}, StepTo{2000}, Hold{2000, s}}),
              HasSubstr("last change may come or not"));
  EXPECT_THAT(refused({Hold{2000, s}, StepTo{3500}, Hold{3500, s}, StepTo{2000}, Hold{2000, s}, StepTo{3001},
                       Hold{3001, s}}),
              HasSubstr("a sound unit may show either of two windows"));
  EXPECT_THAT(refused({Hold{2000, s}, StepTo{3500}, Hold{3500, s}, StepTo{5500}, Hold{5500, s}}),
              HasSubstr("lamps blink"));
  const Gauge gauge = small_gauge();
  const auto unseen = run_ends(gauge, Profile(up_and_down()), gauge.channel("right", "magenta"));
  ASSERT_TRUE(std::holds_alternative<std::string>(unseen));
  EXPECT_THAT(std::get<std::string>(unseen), HasSubstr("of no lamp that is watched"));
}

// ---- the judge -------------------------------------------------------------

RunResult by_its_changes(const SampledUnit& unit, Nanos shift = 0, const Gauge& shown = small_gauge()) {
  const Profile profile(up_and_down());
  std::vector<LampEvent> events = unit.watch(shown, profile);
  for (LampEvent& event : events)
    if (event.at > 0) event.at += shift;
  JudgeSetup setup;
  setup.what.thresholds = true;
  setup.bench.watcher.time_by = TimeRelation::lamp_changes;
  return judged(small_gauge(), profile, events, setup);
}

TEST(TimeByLampChanges, NeverPassesAndTellsNoThreshold) {
  const RunResult result = by_its_changes({});
  EXPECT_EQ(result.verdict, Verdict::undecided);
  ASSERT_EQ(result.findings.size(), 1U);
  EXPECT_THAT(result.findings[0].message, HasSubstr("there was no sync lamp"));
  ASSERT_EQ(result.boundaries.size(), 4U);
  for (const BoundaryResult& row : result.boundaries) {
    EXPECT_TRUE(std::isnan(row.threshold_rpm) && std::isnan(row.response_ms));
    EXPECT_EQ(row.verdict, Verdict::undecided);
    EXPECT_THAT(row.remark, HasSubstr("unit's own changes"));
  }
  ASSERT_FALSE(result.transitions.empty());
  for (const TransitionResult& row : result.transitions) {
    EXPECT_TRUE(row.seen);
    EXPECT_EQ(row.verdict, Verdict::undecided);
  }
  ASSERT_FALSE(result.blinks.empty());  // need no time but the clip's own
  EXPECT_EQ(result.blinks[0].verdict, Verdict::pass);
}

TEST(TimeByLampChanges, AWrongColourStillFails) {
  Gauge shown = small_gauge();
  shown.windows[1].cue.steady = shown.channel("left", "blue");
  EXPECT_EQ(by_its_changes({}, 0, shown).verdict, Verdict::fail);
}

TEST(TimeByLampChanges, AChangeThatDoesNotFitTheOthersStillFails) {
  Gauge shown = small_gauge();
  shown.windows[2].from_rpm += 400;
  EXPECT_EQ(by_its_changes({}, 0, shown).verdict, Verdict::fail);
}

}  // namespace
}  // namespace tachproof
