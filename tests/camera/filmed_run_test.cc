// A few filmed runs, judged by the whole program; camera_clips films hundreds.
#include <gmock/gmock.h>

#include <cmath>
#include <filesystem>

#include "tests/camera/clip_trials.h"
#include "tests/camera/shared_camera.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using testing::HasSubstr;

class FilmedRun : public testing::Test {
 protected:
  static const test::TaughtCamera& taught() { return test::shared_camera(); }
};

TEST_F(FilmedRun, OfAHealthyUnitPasses) {
  test::Plan plan = plain_plan(taught());
  plan.judge_too = plan.bare_too = true;
  const test::Trial trial = run_trial(taught(), plan);
  EXPECT_EQ(trial.judged_otherwise, "");
  EXPECT_EQ(trial.verdict, "pass") << trial.first_finding << trial.said;
  EXPECT_EQ(trial.looks.wrong, 0U);
  EXPECT_GT(trial.looks.looks, 2000U);
  EXPECT_LT(trial.looks.unclear, trial.looks.looks / 100);
  ASSERT_FALSE(trial.stamp_errors_ms.empty());
  for (const double error : trial.stamp_errors_ms) EXPECT_LE(std::abs(error), trial.stated_ms);

  // Without the sync lamp its time is told by its own changes: it may be late as a whole.
  const test::Trial::Bare& bare = trial.bare;
  EXPECT_EQ(bare.verdict, "undecided");
  EXPECT_EQ(bare.time_by, "lamp-changes");
  EXPECT_THAT(bare.finding, HasSubstr("there was no sync lamp, so the run's time was set by the unit's own"));
  EXPECT_EQ(bare.stamp_errors_ms.size(), trial.stamp_errors_ms.size());
  for (const double error : bare.stamp_errors_ms) EXPECT_LE(std::abs(error), bare.stated_ms);
}

TEST_F(FilmedRun, OfAUnitWithTheWrongColourFailsThoughTheCameraWasNudged) {
  test::Plan plan = plain_plan(taught());
  plan.behaviour.faults.push_back(
      {"wrong-colour", {{"lamp", "moss"}, {"to", "white"}, {"colour", "blue"}}, {}});
  plan.camera.shifts = {{0, 5.4, -3.2}};
  plan.kind = test::Clip::h264;
  plan.bare_too = true;
  const test::Trial trial = run_trial(taught(), plan);
  EXPECT_EQ(trial.verdict, "fail") << trial.first_finding << trial.said;
  EXPECT_EQ(trial.bare.verdict, "fail") << trial.bare.finding;
}

TEST_F(FilmedRun, OfABlinkThatTheFramesCannotFollowIsUndecided) {
  for (const double hz : {taught().camera().fps - 2, taught().camera().fps + 2}) {
    test::Plan plan = plain_plan(taught());
    plan.camera.exposure_ms = 2;
    plan.camera.brightness *= 1.2;
    plan.behaviour.faults.push_back({"blink-rate", {}, {{"hz", hz}}});
    const test::Trial trial = run_trial(taught(), plan);
    EXPECT_NE(trial.verdict, "pass") << hz;
    if (trial.verdict == "undecided") {
      EXPECT_THAT(trial.first_finding, HasSubstr("would look the same")) << hz;
    }
  }
}

TEST_F(FilmedRun, OfAUnitInAColourThatWasNotTaughtFailsAndSaysWhichLampWhenAndHowFarOff) {
  test::Plan plan = plain_plan(taught());
  plan.camera.recoloured["brink cyan"] = {0.05F, 0.9F, 0.1F};
  const test::Trial trial = run_trial(taught(), plan);
  EXPECT_EQ(trial.verdict, "fail") << trial.first_finding << trial.said;
  EXPECT_THAT(
      trial.first_finding,
      testing::ContainsRegex("lamp brink was lit in a colour that it was not taught, from frame [0-9]+ "
                             ".*: [0-9]+ % away, and another colour is 11.5 % away or more"));
}

// As a filament does, in any colour: what fades is not undecided for that.
TEST_F(FilmedRun, OfALampInAnotherColourThatComesAndGoesByDegreesFails) {
  test::Plan plan = plain_plan(taught());
  plan.camera.recoloured["brink cyan"] = {0.05F, 0.9F, 0.1F};
  plan.by_degrees["brink cyan"] = 0.06;
  const test::Trial trial = run_trial(taught(), plan);
  EXPECT_EQ(trial.verdict, "fail") << trial.first_finding << trial.said;
}

TEST_F(FilmedRun, ByAClipThatRunsFastHasNoNumbersAndNamesTheRate) {
  test::Plan plan = plain_plan(taught());
  plan.camera.drift_ppm = -19608;
  plan.camera.lasts_s *= 1.02;
  const test::Trial trial = run_trial(taught(), plan);
  EXPECT_EQ(trial.verdict, "undecided");
  EXPECT_THAT(trial.first_finding,
              testing::ContainsRegex(
                  "the clip runs (1.9|2.0|2.1) % fast: its flashes fit 30.6 frames a second, and 30 "
                  "were stated"));
  EXPECT_TRUE(trial.beside_truth.empty());
}

TEST_F(FilmedRun, WithoutASyncLampIsUndecidedWhereTheClipMissesTheBeginning) {
  test::Plan plan = plain_plan(taught());
  plan.bare_too = true;
  plan.camera.run_starts_s = -7;
  plan.camera.lasts_s -= 7;
  const test::Trial trial = run_trial(taught(), plan);
  EXPECT_EQ(trial.verdict, "undecided");
  EXPECT_EQ(trial.bare.verdict, "undecided");
  EXPECT_THAT(trial.bare.finding, HasSubstr("film the whole run"));
}

TEST_F(FilmedRun, WithACameraThatWasKnockedIsUndecided) {
  test::Plan plan = plain_plan(taught());
  plan.camera.shifts = {{8, 31, 4}};
  plan.kind = test::Clip::folder;
  const test::Trial trial = run_trial(taught(), plan);
  EXPECT_EQ(trial.verdict, "undecided");
  EXPECT_EQ(trial.status, 3);
}

TEST_F(FilmedRun, IsVerifiedFromItsReadingsAndByTheClipWhereItIsThere) {
  const Finished judged = test::judge_plain_clip(taught(), "shown");
  ASSERT_EQ(judged.status, 0) << judged.out << judged.err;
  const auto verified = [&] {
    return run_process(command_line("report shown --verify"), taught().folder()).out;
  };
  EXPECT_THAT(verified(), testing::AllOf(HasSubstr("Judged again from the raw evidence: pass"),
                                         HasSubstr("frames read as before")));
  std::filesystem::remove(taught().folder() / "shown.avi");
  EXPECT_THAT(verified(), testing::AllOf(HasSubstr("Judged again from the raw evidence: pass"),
                                         HasSubstr("frames were not read again")));
  std::filesystem::remove_all(taught().folder() / "shown");
}

}  // namespace
}  // namespace tachproof
