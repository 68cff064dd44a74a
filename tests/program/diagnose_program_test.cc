// Causes, as the whole program names them.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "tests/bench/scratch_folder.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using nlohmann::json;
using testing::HasSubstr;
using testing::Not;

std::string text_of(const std::filesystem::path& file) {
  std::ifstream in(file);
  std::stringstream text;
  text << in.rdbuf();
  return text.str();
}

class DiagnoseProgram : public testing::Test {
 protected:
  void SetUp() override {
    scratch.write("gauge.yaml", files::gauge);
    scratch.write("scenario.yaml", files::measuring_scenario);
    scratch.write("rig.yaml", files::rig);
    scratch.write("faulty-rig.yaml", files::faulty_rig);
  }
  Finished tachproof(const std::string& words) { return run_process(command_line(words), scratch.path()); }
  Finished run(const std::string& rig, const std::string& out) {
    return tachproof("run scenario.yaml --gauge gauge.yaml --rig " + rig + " --no-history --out " + out);
  }
  json result(const std::string& folder) { return json::parse(text_of(scratch / folder / "result.json")); }
  ScratchFolder scratch;
};

TEST_F(DiagnoseProgram, AFailedRunNamesItsCauseEverywhere) {
  const Finished failed = run("faulty-rig.yaml", "bad");
  EXPECT_EQ(failed.status, 1) << failed.err;
  EXPECT_THAT(failed.out,
              HasSubstr("\nCause\n  The unit acts as if boundary hasty were at 4040 rpm (set: 4000"));
  EXPECT_THAT(failed.out, HasSubstr("Write the settings to the unit again."));
  const json causes = result("bad")["causes"];
  ASSERT_EQ(causes.size(), 1U) << causes;
  EXPECT_EQ(causes[0]["changes"][0]["kind"], "boundary-moved");
  EXPECT_EQ(causes[0]["changes"][0]["boundary"], "hasty");
  EXPECT_EQ(causes[0]["changes"][0]["by_rpm"], 40);
  EXPECT_EQ(causes[0]["explains"], causes[0]["of"]);
  EXPECT_EQ(causes[0]["do"], "Write the settings to the unit again.");
  EXPECT_EQ(result("bad")["told_apart"], true);
  EXPECT_THAT(text_of(scratch / "bad" / "report.html"), HasSubstr("<h2>Cause</h2>"));
  EXPECT_THAT(text_of(scratch / "bad" / "junit.xml"),
              HasSubstr("message=\"The unit acts as if boundary hasty were at 4040 rpm (set: 4000"));
  // Judged again, and printed again.
  EXPECT_EQ(tachproof("report bad --verify").status, 0);
  EXPECT_THAT(tachproof("report bad").out, HasSubstr("\nCause\n"));
}

TEST_F(DiagnoseProgram, ReadsAStoredRunAndSaysTheSame) {
  run("faulty-rig.yaml", "bad");
  const Finished text = tachproof("diagnose bad");
  EXPECT_EQ(text.status, 1) << text.err;
  EXPECT_THAT(text.out, HasSubstr("Cause\n  The unit acts as if boundary hasty were at 4040 rpm"));
  const json again = json::parse(tachproof("diagnose bad --json").out);
  EXPECT_EQ(again["causes"], result("bad")["causes"]);
  EXPECT_EQ(again["told_apart"], true);
}

TEST_F(DiagnoseProgram, AHealthyRunHasNoCause) {
  EXPECT_EQ(run("rig.yaml", "good").status, 0);
  EXPECT_FALSE(result("good").contains("causes"));
  const Finished none = tachproof("diagnose good");
  EXPECT_EQ(none.status, 0);
  EXPECT_EQ(none.out, "The run passes: there is nothing to explain.\n");
}

TEST_F(DiagnoseProgram, TheGaugeFileThatTheUnitReallyRunsIsNamed) {
  scratch.write("old.yaml", files::replaced(files::gauge, "pit: 3000", "pit: 2960"));
  scratch.write("old-rig.yaml", files::replaced(files::rig, "unit: gauge.yaml", "unit: old.yaml"));
  const Finished beside = run("old-rig.yaml", "bad");
  EXPECT_EQ(beside.status, 1);
  EXPECT_THAT(beside.out, HasSubstr("The unit behaves exactly as old.yaml says"));
  EXPECT_EQ(result("bad")["causes"][0]["changes"][0], (json{{"kind", "settings-of"}, {"file", "old.yaml"}}));
  // Without it, it is the anchor; with --among, the file again.
  EXPECT_THAT(tachproof("diagnose bad").out, HasSubstr("anchor pit were 2960 rpm (set: 3000"));
  EXPECT_THAT(tachproof("diagnose bad --among old.yaml").out, HasSubstr("exactly as old.yaml says"));
}

TEST_F(DiagnoseProgram, AnUndecidedRunSaysWhatIsMissing) {
  // Too fast to measure a threshold.
  scratch.write("scenario.yaml", R"(format: 1
kind: scenario
name: fast
seed: 7
profile:
  - {hold: 2900, for: 1s}
  - {ramp: 4150, rate: 3000}
  - {hold: 4150, for: 500ms}
  - {ramp: 2900, rate: 3000}
  - {hold: 2900, for: 1s}
)");
  EXPECT_EQ(run("rig.yaml", "open").status, 3);
  EXPECT_FALSE(result("open").contains("causes"));
  EXPECT_TRUE(result("open").contains("missing"));
  const Finished said = tachproof("diagnose open");
  EXPECT_EQ(said.status, 3);
  EXPECT_THAT(said.out, HasSubstr("What is missing\n"));
  EXPECT_THAT(said.out, HasSubstr("brisk"));
}

TEST_F(DiagnoseProgram, TheNextScenarioTellsCausesApartThatTheFirstRunDoesNot) {
  // Only hasty is crossed: its boundary, or the whole anchor.
  scratch.write("scenario.yaml", R"(format: 1
kind: scenario
name: one boundary
seed: 7
profile:
  - {hold: 3900, for: 1s}
  - repeat: 2
    steps: [{ramp: 4100, rate: 25}, {hold: 4100, for: 500ms}, {ramp: 3900, rate: 25}, {hold: 3900, for: 500ms}]
  - {ramp: 4100, rate: 250}
  - {hold: 4100, for: 500ms}
  - {ramp: 3900, rate: 250}
  - {hold: 3900, for: 1s}
)");
  const Finished old = run("faulty-rig.yaml", "old");
  EXPECT_EQ(old.status, 1);
  EXPECT_THAT(old.out, HasSubstr("does not tell these causes apart"));
  const Finished open = tachproof("diagnose old --next next.yaml --json");
  EXPECT_EQ(json::parse(open.out)["told_apart"], false) << open.out;
  EXPECT_EQ(tachproof("check next.yaml").status, 0) << text_of(scratch / "next.yaml");
  tachproof("run next.yaml --gauge gauge.yaml --rig faulty-rig.yaml --no-history --out new");
  const json both = json::parse(tachproof("diagnose old new --json").out);
  EXPECT_EQ(both["told_apart"], true) << both;
  EXPECT_EQ(both["causes"][0]["changes"][0]["kind"], "boundary-moved");
}

TEST_F(DiagnoseProgram, WhatIsNoRunFolderIsRefused) {
  const Finished none = tachproof("diagnose gauge.yaml");
  EXPECT_EQ(none.status, 2);
  EXPECT_THAT(none.err, Not(testing::IsEmpty()));
}

}  // namespace
}  // namespace tachproof
