// `grade`, `plan`, and `run` without a scenario.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "bench/record/disk.h"
#include "tests/bench/scratch_folder.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using nlohmann::json;
using testing::HasSubstr;

class GradeProgram : public testing::Test {
 protected:
  void SetUp() override {
    scratch.write("gauge.yaml", files::gauge);
    scratch.write("scenario.yaml", files::scenario);
    scratch.write("rig.yaml", files::rig);
    scratch.write("faulty-rig.yaml", files::faulty_rig);
  }
  Finished tachproof(const std::string& words) { return run_process(command_line(words), scratch.path()); }
  ScratchFolder scratch;
};

TEST_F(GradeProgram, CountsWhatIsCaughtAndNamesWhatEscapes) {
  const Finished text = tachproof("grade scenario.yaml --gauge gauge.yaml --html page.html");
  EXPECT_EQ(text.status, 0) << text.err;
  EXPECT_THAT(text.out, HasSubstr(" faults are caught ("));
  EXPECT_THAT(text.out, HasSubstr("\nSmallest shift that is noticed, in rpm\n"));
  EXPECT_TRUE(std::filesystem::exists(scratch / "page.html"));
  const json graded =
      json::parse(tachproof("grade scenario.yaml --gauge gauge.yaml --rig rig.yaml --json").out);
  EXPECT_EQ(graded["faults"].get<int>(),
            graded["caught"].get<int>() + graded["undecided"].get<int>() + graded["escaped"].get<int>());
  EXPECT_EQ(graded["list"].size(), graded["faults"].get<std::size_t>());
  const json& first = graded["list"][0];
  EXPECT_EQ(first["fault"]["kind"], "boundary-moved");
  EXPECT_EQ(first["fault"]["boundary"], "brisk");
  EXPECT_EQ(first["fault"]["by_rpm"], 6);
  EXPECT_EQ(graded["boundaries"][0]["boundary"], "brisk");
  EXPECT_EQ(graded["boundaries"][0]["direction"], "up");
}

TEST_F(GradeProgram, PutsSharesTogether) {
  for (const char* const share : {"1", "2"}) {
    const Finished part =
        tachproof("grade scenario.yaml --gauge gauge.yaml --json --shard " + std::string(share) + "/2");
    ASSERT_EQ(part.status, 0) << part.err;
    scratch.write(std::string(share) + ".json", part.out);
  }
  const json merged = json::parse(tachproof("grade --merge 1.json 2.json").out);
  const json whole = json::parse(tachproof("grade scenario.yaml --gauge gauge.yaml --json").out);
  EXPECT_EQ(merged["caught"], whole["caught"]);
  EXPECT_EQ(merged["faults"], whole["faults"]);
  const Finished half = tachproof("grade --merge 1.json");
  EXPECT_EQ(half.status, 2);
  EXPECT_EQ(half.err, "tachproof grade: there are 1 of 2 shares\n");
}

TEST_F(GradeProgram, RefusesWordsThatMakeNoSense) {
  EXPECT_EQ(tachproof("grade scenario.yaml").err, "tachproof grade: --gauge is missing\n");
  EXPECT_EQ(tachproof("grade scenario.yaml --gauge gauge.yaml --shard 3/2").err,
            "tachproof grade: --shard is '3/2'; it must be I/N, such as 2/3, with I from 1 to N\n");
  EXPECT_EQ(tachproof("plan --gauge gauge.yaml --out p.yaml --within 0").err,
            "tachproof plan: --within is '0'; a number above 0, at most 1000\n");
  EXPECT_EQ(tachproof("run --gauge gauge.yaml --rig rig.yaml --retry 1").err,
            "tachproof run: a suite needs its scenarios; without any, one gauge is run once, by its plan\n");
}

TEST_F(GradeProgram, APlanIsAScenarioThatASoundUnitPassesAndAFaultyOneFails) {
  const Finished plan = tachproof("plan --gauge gauge.yaml --out plan.yaml --json");
  EXPECT_EQ(plan.status, 0) << plan.err;
  const json planned = json::parse(plan.out);
  // Dead units are undecided.
  for (const json& left : planned["left"])
    EXPECT_THAT(left["why"].get<std::string>(), testing::StartsWith("no lamp changed in the whole run"));
  EXPECT_EQ(tachproof("check plan.yaml --gauge gauge.yaml").status, 0);
  EXPECT_EQ(tachproof("run plan.yaml --gauge gauge.yaml --rig rig.yaml --no-history --out a").status, 0);
  EXPECT_EQ(tachproof("run plan.yaml --gauge gauge.yaml --rig faulty-rig.yaml --no-history --out b").status,
            1);
}

TEST_F(GradeProgram, ARunWithoutAScenarioPlaysThePlanAndKeepsIt) {
  const Finished run = tachproof("run --gauge gauge.yaml --rig rig.yaml --no-history --out whole");
  EXPECT_EQ(run.status, 0) << run.out << run.err;
  ASSERT_TRUE(std::filesystem::exists(scratch / "whole/scenario.yaml"));
  EXPECT_EQ(tachproof("report whole --verify").status, 0);
  EXPECT_EQ(tachproof("run --gauge gauge.yaml --rig faulty-rig.yaml --no-history --out faulty").status, 1);
}

}  // namespace
}  // namespace tachproof
