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
  // It is kept, so that the run says the same when the file has gone.
  std::filesystem::remove(scratch / "old.yaml");
  EXPECT_THAT(tachproof("diagnose bad").out, HasSubstr("exactly as old.yaml says"));
  const Finished verified = tachproof("report bad --verify");
  EXPECT_EQ(verified.status, 0) << verified.out;
  EXPECT_THAT(verified.out, HasSubstr("Looked for again, the causes are those of result.json."));
}

TEST_F(DiagnoseProgram, AGaugeFileElsewhereIsNamedWhenAskedFor) {
  std::filesystem::create_directory(scratch / "elsewhere");
  scratch.write("elsewhere/old.yaml", files::replaced(files::gauge, "pit: 3000", "pit: 2960"));
  scratch.write("old-rig.yaml", files::replaced(files::rig, "unit: gauge.yaml", "unit: elsewhere/old.yaml"));
  EXPECT_EQ(run("old-rig.yaml", "bad").status, 1);
  EXPECT_THAT(tachproof("diagnose bad").out, HasSubstr("anchor pit were 2960 rpm (set: 3000"));
  EXPECT_THAT(tachproof("diagnose bad --among elsewhere/old.yaml").out,
              HasSubstr("exactly as old.yaml says"));
}

// Gauge files that say nothing of a unit are no part of its evidence.
TEST_F(DiagnoseProgram, OnlyGaugeFilesThatTellAreKept) {
  scratch.write("other.yaml", files::replaced(files::gauge, "pit: 3000", "pit: 3500"));
  EXPECT_EQ(run("faulty-rig.yaml", "bad").status, 1);
  EXPECT_FALSE(std::filesystem::exists(scratch / "bad" / "candidate-1.yaml"));
}

// The unit was accepted with pit at 2960, and somebody has since raised the gauge file, but not the unit.
class AcceptedUnit : public DiagnoseProgram {
 protected:
  void SetUp() override {
    DiagnoseProgram::SetUp();
    std::filesystem::create_directory(scratch / "then");
    scratch.write("then/gauge.yaml", files::replaced(files::gauge, "pit: 3000", "pit: 2960"));
    scratch.write("then-rig.yaml", files::replaced(files::rig, "unit: gauge.yaml", "unit: then/gauge.yaml"));
    scratch.write("wiring.yaml", files::wiring);
    ASSERT_EQ(tachproof("run scenario.yaml --gauge then/gauge.yaml --rig then-rig.yaml --unit-serial K17 "
                        "--history h.db --out accepted")
                  .status,
              0);
    ASSERT_EQ(tachproof("accept accepted --by Una --why first --history h.db").status, 0);
    started = result("accepted")["started"].get<std::string>().substr(0, 10);
  }
  std::string says() const {
    return "The unit behaves exactly as its accepted run of " + started + " says (" +
           (scratch.path() / "accepted" / "gauge.yaml").string() + ")";
  }
  Finished failed(const std::string& more) {
    return tachproof("run scenario.yaml --gauge gauge.yaml --rig then-rig.yaml --unit-serial K17 " + more);
  }
  std::string cause(const std::string& folder) { return result(folder)["causes"][0]["text"]; }

  std::string started;
};

TEST_F(AcceptedUnit, IsNamedByEveryCommandThatFails) {
  EXPECT_EQ(failed("--history h.db --out bad").status, 1);
  EXPECT_THAT(cause("bad"), testing::StartsWith(says()));
  const json change = result("bad")["causes"][0]["changes"][0];
  EXPECT_EQ(change["kind"], "settings-of");
  EXPECT_EQ(change["accepted"], started);
  EXPECT_EQ(tachproof("survey --gauge gauge.yaml --rig then-rig.yaml --unit-serial K17 --history h.db --out "
                      "surveyed")
                .status,
            1);
  EXPECT_THAT(cause("surveyed"), testing::StartsWith(says()));
  EXPECT_EQ(
      tachproof("judge bad/capture.vcd --gauge gauge.yaml --wiring wiring.yaml --scenario scenario.yaml "
                "--unit-serial K17 --history h.db --out judged")
          .status,
      1);
  // A recording is of no unit in software, and that one was accepted.
  EXPECT_THAT(cause("judged"), HasSubstr("anchor pit"));
  scratch.write("second.yaml", files::replaced(files::measuring_scenario, "up and down", "again"));
  EXPECT_EQ(
      tachproof("run scenario.yaml second.yaml --gauge gauge.yaml --rig then-rig.yaml --unit-serial K17 "
                "--history h.db --out suite")
          .status,
      1);
  const json suite = json::parse(text_of(scratch / "suite" / "suite.json"));
  EXPECT_THAT(suite["pairs"][0]["attempts"][0]["reason"].get<std::string>(), HasSubstr(says()));
  EXPECT_EQ(tachproof("report bad --verify").status, 0);
}

TEST_F(AcceptedUnit, IsNoCandidateWithoutAHistoryOrForAnotherUnit) {
  EXPECT_EQ(failed("--no-history --out bad").status, 1);
  EXPECT_THAT(cause("bad"), HasSubstr("anchor pit"));
  EXPECT_THAT(tachproof("diagnose bad --history h.db").out, HasSubstr("its accepted run of"));
  EXPECT_THAT(tachproof("diagnose bad --history h.db --no-history").out, HasSubstr("anchor pit"));
  tachproof(
      "run scenario.yaml --gauge gauge.yaml --rig then-rig.yaml --unit-serial K18 --history h.db --out b");
  EXPECT_THAT(cause("b"), HasSubstr("anchor pit"));
}

TEST_F(AcceptedUnit, WhoseFolderHasGoneIsSaidByDiagnoseAlone) {
  std::filesystem::remove_all(scratch / "accepted");
  const Finished bad = failed("--history h.db --out bad");
  EXPECT_EQ(bad.status, 1);
  EXPECT_EQ(bad.err, "");
  EXPECT_THAT(cause("bad"), HasSubstr("anchor pit"));
  const Finished said = tachproof("diagnose bad --history h.db");
  EXPECT_EQ(said.err, "The accepted run of unit K17 in " + (scratch.path() / "accepted").string() +
                          " is not there any more, so its settings are no candidate.\n");
  EXPECT_THAT(said.out, HasSubstr("anchor pit"));
}

TEST_F(AcceptedUnit, WhoseFolderWasChangedIsNoCandidate) {
  scratch.write("accepted/gauge.yaml", files::replaced(files::gauge, "pit: 3000", "pit: 2961"));
  const Finished bad = failed("--history h.db --out bad");
  EXPECT_THAT(cause("bad"), HasSubstr("anchor pit"));
  EXPECT_THAT(tachproof("diagnose bad --history h.db").err, HasSubstr("was changed since it was accepted"));
}

TEST_F(DiagnoseProgram, ASuiteNamesTheCauseOnItsPageInJUnitAndInJson) {
  scratch.write("second.yaml", files::replaced(files::measuring_scenario, "up and down", "again"));
  const Finished suite = tachproof(
      "run scenario.yaml second.yaml --gauge gauge.yaml --rig faulty-rig.yaml --no-history --out suite");
  EXPECT_EQ(suite.status, 1) << suite.err;
  const std::string cause = "The unit acts as if boundary hasty were at 4040 rpm (set: 4000";
  EXPECT_THAT(suite.out, HasSubstr("hasty were at 4040 rpm (set: 4000"));
  const json record = json::parse(text_of(scratch / "suite" / "suite.json"));
  for (const json& pair : record["pairs"])
    EXPECT_THAT(pair["attempts"][0]["reason"].get<std::string>(), HasSubstr(cause));
  EXPECT_THAT(text_of(scratch / "suite" / "report.html"), HasSubstr(cause));
  EXPECT_THAT(text_of(scratch / "suite" / "junit.xml"), HasSubstr(cause));
  EXPECT_EQ(tachproof("report suite --verify").status, 0);
}

TEST_F(DiagnoseProgram, ARecordingThatIsJudgedHasItsCause) {
  scratch.write("wiring.yaml", files::wiring);
  run("faulty-rig.yaml", "bad");
  const Finished by_scenario = tachproof(
      "judge bad/capture.vcd --gauge gauge.yaml --wiring wiring.yaml --scenario scenario.yaml --no-history "
      "--out again");
  EXPECT_EQ(by_scenario.status, 1) << by_scenario.err;
  EXPECT_THAT(by_scenario.out, HasSubstr("The unit acts as if boundary hasty were at 4040 rpm (set: 4000"));
  EXPECT_EQ(tachproof("report again --verify").status, 0);
  // Without the scenario, by the rpm of the tach channel.
  tachproof("judge bad/capture.vcd --gauge gauge.yaml --wiring wiring.yaml --no-history --out alone");
  EXPECT_EQ(result("alone")["causes"][0]["changes"][0]["boundary"], "hasty");
  EXPECT_NEAR(result("alone")["causes"][0]["changes"][0]["by_rpm"].get<double>(), 40, 1);
  // A lamp whose two wires are crossed at the analyser.
  scratch.write("crossed.yaml", files::replaced(files::replaced(files::wiring, "near.white", "x"),
                                                "far.magenta", "near.white"));
  std::string crossed = text_of(scratch / "crossed.yaml");
  scratch.write("crossed.yaml", files::replaced(crossed, "{white: x}", "{white: far.magenta}"));
  run("rig.yaml", "good");
  tachproof(
      "judge good/capture.vcd --gauge gauge.yaml --wiring crossed.yaml --scenario scenario.yaml "
      "--no-history --out wires");
  EXPECT_EQ(result("wires")["causes"][0]["changes"][0]["kind"], "wires-swapped");
  EXPECT_EQ(tachproof("report wires --verify").status, 0);
}

TEST_F(DiagnoseProgram, JsonOfARunIsItsResultWithTheCauses) {
  const Finished failed =
      tachproof("run scenario.yaml --gauge gauge.yaml --rig faulty-rig.yaml --no-history --out bad --json");
  EXPECT_EQ(json::parse(failed.out)["causes"], result("bad")["causes"]);
  EXPECT_EQ(json::parse(tachproof("report bad --json").out)["causes"], result("bad")["causes"]);
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
