// A camera's time and the run's, what the judge makes of frames, and what is taught.
#include <gmock/gmock.h>
#include <rapidcheck/gtest.h>

#include <cmath>

#include "core/camera/sync_clock.h"
#include "core/camera/teaching.h"
#include "core/judge/expectation.h"
#include "tests/core/gauges.h"
#include "tests/core/judged.h"

namespace tachproof {
namespace {

// A camera whose clock runs `ppm` fast, `offset` behind the run's, frames every 33 ms.
struct FilmedFlashes {
  SyncClock clock;
  Nanos offset;
  double ppm;
  Nanos camera_of(Nanos run) const {
    return std::llround(static_cast<double>(run - offset) * (1 + ppm * 1e-6));
  }
  void flash(Nanos from, Nanos to, Nanos frames_missing = 0) {
    clock.flashed(from, to);
    for (const Nanos edge : {from, to}) {
      const Nanos frame = 33 * ns_per_ms;
      const Nanos after = (camera_of(edge) / frame) * frame - frames_missing * frame;
      clock.seen(after, after + frame, edge == from);
    }
  }
};

RC_GTEST_PROP(SyncClock, BoundsHoldTheTrueOffset, ()) {
  FilmedFlashes filmed{{},
                       *rc::gen::inRange<Nanos>(-3'000'000'000, -100'000'000),
                       static_cast<double>(*rc::gen::inRange(-150, 151))};
  std::vector<Nanos> starts{ns_per_s};
  for (int i = 0; i < 6; ++i)
    starts.push_back(starts.back() + *rc::gen::inRange<Nanos>(ns_per_s, 9 * ns_per_s));
  for (const Nanos start : starts) filmed.flash(start, start + 200 * ns_per_ms);
  RC_ASSERT(filmed.clock.consistent());
  for (const Nanos run : starts) {
    const auto offset = filmed.clock.offset_at(filmed.camera_of(run));
    RC_ASSERT(offset.has_value());
    const Nanos truth = run - filmed.camera_of(run);
    RC_ASSERT(offset->lowest <= truth + 1);
    RC_ASSERT(offset->highest >= truth - 1);
    RC_ASSERT(offset->half_width() <= 17 * ns_per_ms);
  }
}

TEST(SyncClock, FramesThatWentMissingBetweenFlashesAreFound) {
  FilmedFlashes filmed{{}, -500 * ns_per_ms, 20};
  filmed.flash(ns_per_s, 1300 * ns_per_ms);
  filmed.flash(4 * ns_per_s, 4210 * ns_per_ms);
  EXPECT_TRUE(filmed.clock.consistent());
  filmed.flash(8 * ns_per_s, 8500 * ns_per_ms, 3);
  EXPECT_FALSE(filmed.clock.consistent());
}

TEST(SyncClock, KnowsNothingBeforeAFlashAndWhatItAwaits) {
  SyncClock clock;
  EXPECT_FALSE(clock.offset_at(0));
  clock.seen(10, 20, true);
  EXPECT_FALSE(clock.offset_at(15));
  clock.flashed(100, 200);
  EXPECT_TRUE(clock.offset_at(15));
  EXPECT_EQ(clock.awaited(), 200);
  clock.seen(110, 120, false);
  EXPECT_EQ(clock.awaited(), std::nullopt);
  EXPECT_TRUE(clock.consistent());
}

// 30 frames a second: an instant is known to two frames, a quick unit answers within one.
TEST(JudgedFrames, AQuickUnitIsNotTakenForOneThatAnswersBeforeItIsAsked) {
  Gauge gauge = test::small_gauge();
  gauge.tolerance.response_to = 300 * ns_per_ms;
  const std::vector<Step> steps{Hold{2000, ns_per_s}, StepTo{4000}, Hold{4000, ns_per_s}, StepTo{2000},
                                Hold{2000, ns_per_s}};
  const Profile profile(steps);
  test::SampledUnit unit;
  unit.response = 10 * ns_per_ms;
  JudgeSetup setup;
  setup.bench.watcher.resolution = 73 * ns_per_ms;
  RunResult result = test::judged(gauge, profile, unit.watch(gauge, profile), setup);
  ASSERT_EQ(result.transitions.size(), 2U);
  for (const TransitionResult& row : result.transitions) EXPECT_EQ(row.verdict, Verdict::pass);
  // Where no answer is allowed at first, a quick one is not let pass by that.
  gauge.tolerance.response_from = 20 * ns_per_ms;
  result = test::judged(gauge, profile, unit.watch(gauge, profile), setup);
  for (const TransitionResult& row : result.transitions) EXPECT_NE(row.verdict, Verdict::pass);
}

// Whatever else was not seen.
TEST(JudgedFrames, ALampThatIsCertainlyInAnotherColourFailsThoughEvidenceWasLost) {
  const Gauge gauge = test::small_gauge();
  const auto verdict = [&](FindingKind kind) {
    Judge judge(gauge, {});
    judge.rpm(Profile(std::vector<Step>{Hold{2000, ns_per_s}}).segments()[0]);
    judge.found({FindingKind::lost_evidence, 0, "", "", "lamp left could not be read"});
    judge.found({kind, 0, "", "left", "lamp left was lit in a colour that it was not taught"});
    return judge.finish(ns_per_s, false).verdict;
  };
  EXPECT_EQ(verdict(FindingKind::unknown_colour), Verdict::fail);
  EXPECT_EQ(verdict(FindingKind::wrong_cue), Verdict::undecided);
}

// What it shows is no picture of any window, so that the next boundary's change would be taken for this
// one's.
TEST(JudgedFrames, ThresholdsOfARunWithALampInAnotherColourHaveNoNumbers) {
  const Gauge gauge = test::small_gauge();
  const std::vector<Step> steps{Hold{2900, ns_per_s}, RampByRate{3100, 50}, Hold{3100, ns_per_s}};
  const Profile profile(steps);
  Judge judge(gauge, {});
  for (const Segment& s : profile.segments()) judge.rpm(s);
  judge.found({FindingKind::unknown_colour, 0, "", "left", "lamp left was lit in a colour"});
  judge.lamps(test::SampledUnit{}.watch(gauge, profile));
  const RunResult result = judge.finish(profile.duration());
  EXPECT_EQ(result.verdict, Verdict::fail);
  ASSERT_FALSE(result.boundaries.empty());
  for (const BoundaryResult& row : result.boundaries)
    EXPECT_TRUE(std::isnan(row.threshold_rpm)) << row.boundary;
}

// What a watcher does not believe has no numbers.
TEST(JudgedFrames, BlinksThatAreNotVouchedForAndTimesThatDoNotFitAreNoMeasurement) {
  const Gauge gauge = test::small_gauge();
  const std::vector<Step> steps{Hold{2900, ns_per_s}, RampByRate{3100, 50},     Hold{3100, ns_per_s},
                                StepTo{5500},         Hold{5500, 3 * ns_per_s}, StepTo{3100},
                                RampByRate{2900, 20}, Hold{2900, ns_per_s}};
  const Profile profile(steps);
  const std::vector<LampEvent> seen = test::SampledUnit{}.watch(gauge, profile);
  const auto judged = [&](Channels unsure, const std::string& untimed) {
    Judge judge(gauge, {});
    for (const Segment& s : profile.segments()) judge.rpm(s);
    if (unsure != 0) judge.unsure_blinks(unsure);
    if (!untimed.empty()) judge.untimed(untimed);
    judge.lamps(seen);
    return judge.finish(profile.duration());
  };
  const RunResult sound = judged(0, ""), unsure = judged(gauge.channel("left", "blue"), ""),
                  untimed = judged(0, "the clip runs 2 % fast");
  ASSERT_EQ(sound.blinks.size(), 1U);
  EXPECT_EQ(sound.blinks[0].verdict, Verdict::pass);
  EXPECT_EQ(unsure.blinks[0].verdict, Verdict::undecided);
  EXPECT_TRUE(std::isnan(unsure.blinks[0].hz));
  EXPECT_EQ(unsure.verdict, Verdict::undecided);
  ASSERT_EQ(untimed.boundaries.size(), sound.boundaries.size());
  for (const BoundaryResult& row : untimed.boundaries) {
    EXPECT_TRUE(std::isnan(row.threshold_rpm) && std::isnan(row.expanded_uncertainty_rpm));
    EXPECT_EQ(row.remark, "the clip runs 2 % fast");
    EXPECT_EQ(row.verdict, Verdict::undecided);
  }
  for (const TransitionResult& row : untimed.transitions) EXPECT_EQ(row.verdict, Verdict::undecided);
  EXPECT_EQ(untimed.verdict, Verdict::undecided);
}

TEST(SyncClock, NamesTheRateWhereTheFlashesFitAnother) {
  SyncClock clock;
  for (const Nanos at : {1, 4, 9, 15})
    for (const Nanos edge : {at * ns_per_s, at * ns_per_s + 300 * ns_per_ms}) {
      if (edge == at * ns_per_s) clock.flashed(edge, edge + 300 * ns_per_ms);
      const Nanos frame = 33 * ns_per_ms, seen = edge * 102 / 100 / frame * frame;
      clock.seen(seen, seen + frame, edge == at * ns_per_s);
    }
  EXPECT_FALSE(clock.consistent());
  ASSERT_TRUE(clock.rate());
  EXPECT_NEAR(*clock.rate(), 1.02, 0.002);
}

TEST(Teaching, ShowsEveryWindowAndFlashesTwice) {
  const Gauge gauge = test::small_gauge();
  const Profile profile(teaching_steps(gauge, "sync"));
  std::vector<bool> demanded(gauge.windows.size());
  const std::vector<Reach> reaches = expect(gauge, profile).reaches;
  for (std::size_t i = 0; i + 1 < reaches.size(); ++i)
    if (reaches[i].lowest == reaches[i].highest && reaches[i + 1].from - reaches[i].from >= ns_per_s)
      demanded[reaches[i].lowest] = true;
  EXPECT_EQ(std::count(demanded.begin(), demanded.end(), false), 0);
  EXPECT_EQ(profile.actions().size(), 2U);
  EXPECT_TRUE(Profile(teaching_steps(gauge, "")).actions().empty());
}

}  // namespace
}  // namespace tachproof
