#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "bench/record/disk.h"
#include "tests/bench/scratch_folder.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using nlohmann::json;
using testing::EndsWith;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

const std::vector<std::string> command_names = {
    "run",      "survey", "grade",  "plan",    "deadband", "noise",     "expect",
    "judge",    "check",  "report", "history", "compare",  "diagnose",  "accept",
    "settings", "speed",  "teach",  "ports",   "rig",      "calibrate", "serve"};

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& word : words) text += (text.empty() ? "" : ", ") + word;
  return text;
}

class Program : public testing::Test {
 protected:
  void SetUp() override {
    scratch.write("gauge.yaml", files::gauge);
    scratch.write("scenario.yaml", files::scenario);
    scratch.write("endless.yaml", files::endless_scenario);
    scratch.write("rig.yaml", files::rig);
    scratch.write("faulty-rig.yaml", files::faulty_rig);
    scratch.write("wiring.yaml", files::wiring);
  }

  Finished tachproof(const std::string& words, const std::map<std::string, std::string>& environment = {}) {
    return run_process(command_line(words), scratch.path(), environment);
  }

  Finished run_of(const std::string& rig, const std::string& more = "") {
    return tachproof("run scenario.yaml --gauge gauge.yaml --rig " + rig + " " + more);
  }

  json stored_result(const std::string& folder) {
    return json::parse(std::ifstream(scratch / folder / "result.json"));
  }

  // The endless run, once it has begun to leave evidence.
  std::unique_ptr<Process> begun_endless_run(const std::string& out) {
    auto process = std::make_unique<Process>(
        command_line("run endless.yaml --gauge gauge.yaml --rig rig.yaml --out " + out), scratch.path());
    EXPECT_TRUE(makes_progress(scratch / out / "journal.jsonl"));
    return process;
  }

  ScratchFolder scratch;
};

TEST_F(Program, PassesASoundUnitWithStatus0) {
  const Finished run = run_of("rig.yaml", "--out here");
  EXPECT_EQ(run.status, 0) << run.out << run.err;
  EXPECT_THAT(run.out, EndsWith("Report: here/report.html\n"));
  EXPECT_THAT(run.err, IsEmpty());
  EXPECT_EQ(stored_result("here")["verdict"], "pass");
}

TEST_F(Program, FailsAFaultyUnitWithStatus1) {
  const Finished run = run_of("faulty-rig.yaml", "--out here");
  EXPECT_EQ(run.status, 1) << run.out << run.err;
  EXPECT_EQ(stored_result("here")["verdict"], "fail");
}

TEST_F(Program, SaysThatAScenarioInTheDarkProvesLittle) {
  scratch.write("dark.yaml",
                "format: 1\nkind: scenario\nname: dark\nseed: 1\nprofile: [{hold: 1000, for: 2s}]\n");
  const std::string remark = "never stays where a watched lamp must be lit";
  const Finished dark = tachproof("run dark.yaml --gauge gauge.yaml --rig rig.yaml --out dark");
  EXPECT_EQ(dark.status, 0);
  EXPECT_THAT(whole_file(scratch / "dark" / "report.html"), HasSubstr(remark));
  tachproof("run scenario.yaml --gauge gauge.yaml --rig rig.yaml --out lit");
  EXPECT_THAT(whole_file(scratch / "lit" / "report.html"), Not(HasSubstr(remark)));
}

TEST_F(Program, LeavesTheWholeRunFolder) {
  run_of("rig.yaml", "--out here");
  for (const char* name : {"result.json", "report.html", "junit.xml", "capture.vcd", "timeline.csv",
                           "gauge.yaml", "scenario.yaml", "rig.yaml", "journal.jsonl", "SHA256SUMS"})
    EXPECT_TRUE(std::filesystem::exists(scratch / "here" / name)) << name;
}

TEST_F(Program, NamesTheRunFolderAfterTheScenarioAndTheSerial) {
  EXPECT_EQ(run_of("rig.yaml", "--unit-serial K/17").status, 0);
  EXPECT_EQ(run_of("rig.yaml", "--unit-serial K/17").status, 0);
  int folders = 0;
  for (const auto& entry : std::filesystem::directory_iterator(scratch / "runs")) {
    EXPECT_THAT(entry.path().filename().string(), HasSubstr("-up_and_down-K_17"));
    ++folders;
  }
  EXPECT_EQ(folders, 2);
}

TEST_F(Program, RefusesARunFolderThatIsNotEmpty) {
  run_of("rig.yaml", "--out here");
  const Finished again = run_of("faulty-rig.yaml", "--out here");
  EXPECT_EQ(again.status, 2);
  EXPECT_EQ(again.err, "tachproof run: here is not empty; a run writes only into a folder of its own\n");
  EXPECT_EQ(stored_result("here")["verdict"], "pass");
}

TEST_F(Program, PrintsTheStoredResultAsJson) {
  const Finished run = run_of("rig.yaml", "--out here --json");
  EXPECT_EQ(json::parse(run.out), stored_result("here"));
}

TEST_F(Program, GivesTheSameResultForTheSameInputs) {
  json first = json::parse(run_of("rig.yaml", "--out a --json").out);
  json second = json::parse(run_of("rig.yaml", "--out b --json").out);
  for (const char* volatile_key : {"started", "report"}) {
    first.erase(volatile_key);
    second.erase(volatile_key);
  }
  EXPECT_EQ(first, second);
}

TEST_F(Program, ReportsAStoredRunWithItsStatus) {
  run_of("rig.yaml", "--out good");
  run_of("faulty-rig.yaml", "--out bad");
  EXPECT_EQ(tachproof("report good").status, 0);
  EXPECT_EQ(tachproof("report bad").status, 1);
  EXPECT_EQ(json::parse(tachproof("report bad --json").out), stored_result("bad"));
  const Finished none = tachproof("report nowhere");
  EXPECT_EQ(none.status, 2);
  EXPECT_THAT(none.err, HasSubstr("nowhere is not a run folder"));
}

TEST_F(Program, StartsNothingForBadFilesAndListsTheErrorsOfAll) {
  scratch.write("gauge.yaml", "format: 1\nkind: gauge\nnam: x\n");
  scratch.write("scenario.yaml", "format: 1\nkind: scenario\nname: x\nprofil: []\n");
  const Finished run = run_of("rig.yaml", "--out here");
  EXPECT_EQ(run.status, 2);
  EXPECT_THAT(run.err, HasSubstr("gauge.yaml:3:1: "));
  EXPECT_THAT(run.err, HasSubstr("scenario.yaml:4:1: "));
  EXPECT_THAT(run.out, IsEmpty());
  EXPECT_FALSE(std::filesystem::exists(scratch / "here"));
  EXPECT_FALSE(std::filesystem::exists(scratch / "runs"));
}

TEST_F(Program, StartsNothingForAFileThatIsMissing) {
  const Finished run = tachproof("run none.yaml --gauge gauge.yaml --rig rig.yaml --out here");
  EXPECT_EQ(run.status, 2);
  EXPECT_THAT(run.err, HasSubstr("none.yaml"));
  EXPECT_FALSE(std::filesystem::exists(scratch / "here"));
}

TEST_F(Program, IsUndecidedWhenAQuestionHasNoAnswer) {
  scratch.write("scenario.yaml", files::scenario_with_question());
  const Finished run = run_of("rig.yaml", "--out here");
  EXPECT_EQ(run.status, 3) << run.out << run.err;
  EXPECT_EQ(stored_result("here")["verdict"], "undecided");
}

TEST_F(Program, CtrlCLeavesAnUndecidedRunWithStatus3) {
  const auto process = begun_endless_run("here");
  process->signal(SIGINT);
  const Finished run = process->wait();
  EXPECT_EQ(run.status, 3) << run.out << run.err;
  const json result = stored_result("here");
  EXPECT_EQ(result["verdict"], "undecided");
  EXPECT_EQ(result["complete"], false);
  EXPECT_THAT(result["findings"].dump(), HasSubstr("the run was stopped at the keyboard (Ctrl-C)"));
  EXPECT_EQ(tachproof("report here").status, 3);
}

TEST_F(Program, SigkillLeavesAnUndecidedRun) {
  const auto process = begun_endless_run("here");
  process->signal(SIGKILL);
  EXPECT_EQ(process->wait().status, 128 + SIGKILL);
  const json result = stored_result("here");
  EXPECT_EQ(result["verdict"], "undecided");
  EXPECT_EQ(result["complete"], false);
  EXPECT_EQ(tachproof("report here").status, 3);
}

TEST_F(Program, IsUndecidedWhenTheTableCannotBePrinted) {
  const std::string words = std::string(TACHPROOF_PROGRAM) + " report good > /dev/full";
  run_of("rig.yaml", "--out good");
  const Finished report = run_process({"sh", "-c", words}, scratch.path());
  EXPECT_EQ(report.status, 3);
  EXPECT_EQ(report.err, "tachproof: standard output cannot be written\n");
}

TEST_F(Program, ExpectsTheTransitionsThatARunSees) {
  const Finished expect = tachproof("expect scenario.yaml --gauge gauge.yaml --json");
  EXPECT_EQ(expect.status, 0);
  const json expected = json::parse(expect.out)["transitions"];
  run_of("rig.yaml", "--out here");
  const json seen = stored_result("here")["transitions"];
  ASSERT_EQ(expected.size(), 4U);
  ASSERT_EQ(seen.size(), expected.size());
  for (std::size_t i = 0; i < seen.size(); ++i) {
    EXPECT_EQ(seen[i]["boundary"], expected[i]["boundary"]);
    EXPECT_EQ(seen[i]["direction"], expected[i]["direction"]);
    EXPECT_GE(seen[i]["at_s"], expected[i]["earliest_s"]);
    EXPECT_LE(seen[i]["at_s"], expected[i]["latest_s"]);
  }
  EXPECT_THAT(tachproof("expect scenario.yaml --gauge gauge.yaml").out, HasSubstr("4 transitions\n"));
}

TEST_F(Program, ChecksFilesAsStrictlyAsARunWould) {
  const Finished sound = tachproof("check gauge.yaml scenario.yaml rig.yaml wiring.yaml");
  EXPECT_EQ(sound.status, 0) << sound.err;
  EXPECT_THAT(sound.out, HasSubstr("gauge.yaml: a sound gauge file\n"));
  scratch.write("bad.yaml", "format: 1\nkind: gauge\nnam: x\n");
  const Finished bad = tachproof("check gauge.yaml bad.yaml --json");
  EXPECT_EQ(bad.status, 2);
  const json files = json::parse(bad.out)["files"];
  EXPECT_THAT(files[0]["errors"], IsEmpty());
  EXPECT_EQ(files[1]["kind"], "gauge");
  const auto on_line_3 = [](const json& error) { return error["line"] == 3 && error["column"] == 1; };
  EXPECT_TRUE(std::any_of(files[1]["errors"].begin(), files[1]["errors"].end(), on_line_3)) << bad.out;
}

// Ramps of 500 rpm/s alone, and a response of up to 120 ms: nothing tells the thresholds.
TEST_F(Program, SaysBeforehandWhatAScenarioCannotDecide) {
  scratch.write("scenario.yaml", files::replaced(files::scenario, ", thresholds: false", ""));
  const Finished check = tachproof("check scenario.yaml gauge.yaml --gauge gauge.yaml");
  EXPECT_EQ(check.status, 0) << check.err;
  EXPECT_THAT(
      check.out,
      HasSubstr(
          "scenario.yaml: a sound scenario file\n"
          "scenario.yaml: warning: boundary brisk cannot be decided: its threshold will be known only to "));
  EXPECT_THAT(check.out, HasSubstr(" rpm; 2.5 rpm is needed: add two ramps of at most "));
  const json files = json::parse(tachproof("check scenario.yaml --gauge gauge.yaml --json").out)["files"];
  EXPECT_EQ(files[0]["warnings"].size(), 2U);
  EXPECT_TRUE(files[0]["warnings"][0]["message"].is_string());
  EXPECT_TRUE(json::parse(tachproof("check scenario.yaml --json").out)["files"][0]["warnings"].empty());

  const json expect = json::parse(tachproof("expect scenario.yaml --gauge gauge.yaml --json").out);
  ASSERT_EQ(expect["thresholds"].size(), 4U);
  const json& first = expect["thresholds"][0];
  EXPECT_EQ(first["boundary"], "brisk");
  EXPECT_EQ(first["direction"], "rising");
  EXPECT_EQ(first["crossings"], 1);
  EXPECT_GT(first["expected_uncertainty_rpm"].get<double>(), 3);
  EXPECT_EQ(first["decided"], false);
  EXPECT_THAT(first["advice"].get<std::string>(), HasSubstr(" rpm/s across 3000 rpm, both ways"));
  EXPECT_TRUE(expect["not_visited"].empty());
  EXPECT_THAT(tachproof("expect scenario.yaml --gauge gauge.yaml").out,
              HasSubstr("\nWhat this scenario will not decide\n  - boundary brisk cannot be decided: "));
}

TEST_F(Program, BadUsageIsOneLineAndStatus2) {
  const std::map<std::string, std::string> lines = {
      {"frob", "tachproof: there is no command 'frob'; there are " + joined(command_names) + "\n"},
      {"rnu", "tachproof: there is no command 'rnu'; did you mean 'run'?\n"},
      {"run s.yaml --guage g.yaml --rig r.yaml",
       "tachproof run: there is no option --guage; did you mean --gauge?\n"},
      {"check --nothing-like-it", "tachproof check: there is no option --nothing-like-it; see --help\n"},
      {"run scenario.yaml --rig rig.yaml", "tachproof run: --gauge is missing\n"},
      {"expect --gauge gauge.yaml", "tachproof expect: SCENARIO is missing\n"},
      {"check", "tachproof check: FILE is missing\n"},
  };
  for (const auto& [words, line] : lines) {
    const Finished bad = tachproof(words);
    EXPECT_EQ(bad.status, 2) << words;
    EXPECT_EQ(bad.err, line) << words;
    EXPECT_THAT(bad.out, IsEmpty());
  }
  for (const char* words :
       {"run scenario.yaml --gauge gauge.yaml --rig rig.yaml --loud", "report a b", "speed --gear"}) {
    const Finished bad = tachproof(words);
    EXPECT_EQ(bad.status, 2) << words;
    EXPECT_EQ(std::count(bad.err.begin(), bad.err.end(), '\n'), 1) << bad.err;
  }
}

TEST_F(Program, WithoutAWordSaysHowItIsUsed) {
  const Finished nothing = tachproof("");
  EXPECT_EQ(nothing.status, 2);
  EXPECT_EQ(nothing.err, tachproof("--help").out);
}

TEST_F(Program, HelpFitsOn80ColumnsAndNamesEveryPart) {
  std::vector<std::string> pages = {"--help"};
  for (const std::string& name : command_names) pages.push_back(name + " --help");
  for (const std::string& words : pages) {
    const Finished help = tachproof(words);
    EXPECT_EQ(help.status, 0) << words;
    std::istringstream stream(help.out);
    for (std::string line; std::getline(stream, line);) EXPECT_LE(line.size(), 80U) << words << ": " << line;
    for (const char* part : {"Synopsis\n", "Exit status\n", "Example"})
      EXPECT_THAT(help.out, HasSubstr(part));
  }
}

TEST_F(Program, ASurveyLeavesARunThatCanBePlayedAndJudgedAgain) {
  const Finished done = tachproof("survey --gauge gauge.yaml --rig rig.yaml --out survey --unit-serial K17");
  EXPECT_EQ(done.status, 0) << done.out << done.err;
  EXPECT_THAT(done.out, HasSubstr("PASS"));
  const json result = stored_result("survey");
  ASSERT_EQ(result["boundaries"].size(), 4u);
  for (const json& row : result["boundaries"]) {
    EXPECT_LE(row["expanded_uncertainty_rpm"].get<double>(), 1);
    EXPECT_GE(row["budget"].size(), 3u);
    EXPECT_GT(row["coverage_factor"].get<double>(), 1.9);
  }
  EXPECT_EQ(tachproof("check survey/scenario.yaml survey/gauge.yaml").status, 0);
  EXPECT_EQ(tachproof("run survey/scenario.yaml --gauge gauge.yaml --rig rig.yaml --out again").status, 0);
  EXPECT_EQ(stored_result("again")["boundaries"], result["boundaries"]);
}

TEST_F(Program, ASurveyFailsAUnitWithAMovedBoundary) {
  EXPECT_EQ(tachproof("survey --gauge gauge.yaml --rig faulty-rig.yaml --out survey").status, 1);
}

TEST_F(Program, ASurveyOfAnUnknownUnitWritesAGaugeFileThatItPasses) {
  const Finished done =
      tachproof("survey --unknown --known brisk=3000 --gauge gauge.yaml --rig faulty-rig.yaml --out survey");
  EXPECT_EQ(done.status, 0) << done.out << done.err;
  EXPECT_THAT(done.out, HasSubstr("\nFOUND: This is what the unit does. Nothing was judged"));
  EXPECT_THAT(done.out, EndsWith("Found: survey/found.yaml\n"));
  EXPECT_EQ(tachproof("check survey/found.yaml").status, 0);
  EXPECT_EQ(tachproof("survey --gauge survey/found.yaml --rig faulty-rig.yaml --out again").status, 0);
}

TEST_F(Program, WhatASurveyFoundIsNoVerdictAnywhere) {
  const Finished done = tachproof("survey --unknown --gauge gauge.yaml --rig rig.yaml --out survey");
  const json result = stored_result("survey");
  EXPECT_EQ(result["purpose"], "found");
  EXPECT_EQ(result["verdict"], "undecided");
  for (const json& row : result["boundaries"]) EXPECT_EQ(row["verdict"], "undecided");
  const std::string page = whole_file(scratch.path() / "survey" / "report.html");
  EXPECT_THAT(page, HasSubstr(">FOUND<"));
  for (const std::string& text : {done.out, page, whole_file(scratch.path() / "survey" / "junit.xml")}) {
    EXPECT_THAT(text, Not(HasSubstr("PASS")));
    EXPECT_THAT(text, Not(HasSubstr(">pass<")));
    EXPECT_THAT(text, Not(HasSubstr("UNDECIDED")));
  }
  EXPECT_EQ(tachproof("report survey").status, 0);
  EXPECT_EQ(tachproof("report survey --verify").status, 0);
  const Finished accepted = tachproof("accept survey --by Corrie --why none --even-so --history history.db");
  EXPECT_EQ(accepted.status, 2);
  EXPECT_THAT(accepted.err, HasSubstr("nothing was judged, so it cannot be the reference"));
}

TEST_F(Program, ASurveyThatFindsNothingWritesNoGaugeFile) {
  scratch.write("dark-rig.yaml", files::replaced(files::rig, "faults: []",
                                                 "faults: [{kind: stuck-off, lamp: near}, {kind: stuck-off, "
                                                 "lamp: far}]"));
  const Finished done = tachproof("survey --unknown --gauge gauge.yaml --rig dark-rig.yaml --out survey");
  EXPECT_EQ(done.status, 3) << done.out << done.err;
  EXPECT_THAT(done.out, HasSubstr("the lamps never changed between 1200 and 4800"));
  EXPECT_FALSE(std::filesystem::exists(scratch.path() / "survey" / "found.yaml"));
}

TEST_F(Program, ASurveyWhoseDiskIsFullSaysSoAndIsNoPass) {
  // No file may grow beyond so many blocks: what is written last finds no room.
  const std::string survey =
      std::string(TACHPROOF_PROGRAM) + " survey --gauge gauge.yaml --rig rig.yaml --no-history --out survey";
  for (const char* const blocks : {"1", "8", "40"}) {
    std::filesystem::remove_all(scratch.path() / "survey");
    const Finished done = run_process(
        {"sh", "-c", "trap '' XFSZ; ulimit -f " + std::string(blocks) + "; " + survey}, scratch.path());
    EXPECT_NE(done.status, 0) << blocks;
    EXPECT_THAT(done.err, HasSubstr("File too large")) << blocks;
  }
}

TEST_F(Program, ASurveyRefusesWordsThatMakeNoSense) {
  const std::string rest = " --gauge gauge.yaml --rig rig.yaml";
  Finished done = tachproof("survey --within none" + rest);
  EXPECT_EQ(done.status, 2);
  EXPECT_EQ(done.err,
            "tachproof survey: --within is 'none'; it must be a number of rpm above 0, at most 1000\n");
  done = tachproof("survey --known brisk=3000" + rest);
  EXPECT_EQ(done.err, "tachproof survey: --known goes with --unknown\n");
  done = tachproof("survey --unknown --known swift=3000" + rest);
  EXPECT_EQ(done.err,
            "tachproof survey: --known names the boundary 'swift', which gauge.yaml does not have\n");
  EXPECT_EQ(done.status, 2);
}

// The examples of all help pages, each as one line.
std::vector<std::string> examples_in(const std::string& page) {
  std::vector<std::string> examples;
  std::istringstream stream(page.substr(page.find("\nExample")));
  bool goes_on = false;
  for (std::string line; std::getline(stream, line);) {
    if (line.find("  ") != 0) continue;
    const bool more = line.back() == '\\';
    if (more) line.pop_back();
    goes_on ? examples.back() += line : examples.emplace_back(line);
    goes_on = more;
  }
  return examples;
}

// Nobody has it: such an example goes as far as the port.
const std::string board_of_the_examples = "/dev/serial/by-id/usb-tachproof_board-if00";

TEST_F(Program, EveryExampleInTheHelpRuns) {
  const std::filesystem::path source = TACHPROOF_SOURCE_DIR;
  for (const char* folder : {"scenarios", "fixtures"})
    std::filesystem::create_directory_symlink(source / folder, scratch / folder);
  const std::filesystem::path bin = scratch / "bin";
  std::filesystem::create_directory(bin);
  std::filesystem::create_symlink(TACHPROOF_PROGRAM, bin / "tachproof");
  const std::map<std::string, std::string> path = {{"PATH", bin.string() + ":/usr/bin:/bin"},
                                                   {"TACHPROOF_HISTORY", "history.db"},
                                                   {"XDG_DATA_HOME", (scratch / "data").string()}};
  ASSERT_EQ(tachproof("run scenarios/acceptance.yaml --gauge fixtures/gauges/drumlin.yaml --rig "
                      "fixtures/rigs/simulated.yaml --out runs/20260131-142501-acceptance",
                      path)
                .status,
            0);
  int run = 0;
  std::vector<std::string> pages = {"--help"};
  for (const std::string& name : command_names) pages.push_back(name + " --help");
  for (const std::string& words : pages)
    for (const std::string& example : examples_in(tachproof(words).out)) {
      // The page is served until somebody ends it.
      const bool serves = example.find("tachproof serve") != std::string::npos;
      const Finished done =
          run_process({"sh", "-c", serves ? "timeout --foreground --preserve-status 1 " + example : example},
                      scratch.path(), path);
      if (example.find(board_of_the_examples) != std::string::npos) {
        EXPECT_EQ(done.status, 3) << example << "\n" << done.out << done.err;
        EXPECT_THAT(done.err, HasSubstr("there is no such port")) << example;
        continue;
      }
      if (example.find("--lines GPIO") != std::string::npos) {
        EXPECT_EQ(done.status, 3) << example << "\n" << done.out << done.err;
        EXPECT_THAT(done.err, HasSubstr("looking for the GPIO")) << example;
        continue;
      }
      EXPECT_EQ(done.status, 0) << example << "\n" << done.out << done.err;
      EXPECT_THAT(done.out, Not(IsEmpty())) << example;
      ++run;
    }
  EXPECT_GE(run, 8);
}

TEST_F(Program, RefusesAPairOfSourceAndWatchThatCannotWork) {
  const std::string head = "format: 1\nkind: rig\n";
  scratch.write("a.yaml", head + "source: {kind: board}\nwatch: {kind: simulated, unit: gauge.yaml}\n");
  EXPECT_EQ(run_of("a.yaml").err,
            "a.yaml:4:8: a 'simulated' watch beside a 'board' source: the board plays to a real unit, and "
            "only the board's own inputs see what it does; watch must be {kind: board, wiring: ...}\n");
  scratch.write("b.yaml", head +
                              "source: {kind: simulated}\n"
                              "watch: {kind: board, wiring: {lamps: {near: {white: in0}}}}\n");
  const Finished b = run_of("b.yaml");
  EXPECT_EQ(b.status, 2);
  EXPECT_EQ(b.err,
            "b.yaml:4:8: a 'board' watch beside a 'simulated' source: the board stamps lamps by the clock of "
            "its own run, so it must play the pulses too; source must be {kind: board}\n");
}

TEST_F(Program, ListsThePortsAndSaysSoWhenThereIsNone) {
  const Finished text = tachproof("ports");
  const Finished listed = tachproof("ports --json");
  EXPECT_EQ(text.status, 0);
  EXPECT_EQ(listed.status, 0);
  const json all = json::parse(listed.out);
  const json& ports = all["ports"];
  if (ports.empty() && all["instruments"].empty() && all["gpio_chips"].empty()) {
    EXPECT_EQ(text.out, "No serial port is present: is the board plugged in?\n");
  }
  for (const json& port : ports) EXPECT_THAT(text.out, HasSubstr(port["name"].get<std::string>() + "\n"));
}

TEST_F(Program, ProvesARigByALampTest) {
  const Finished good = tachproof("rig rig.yaml --gauge gauge.yaml");
  EXPECT_EQ(good.status, 0) << good.out << good.err;
  EXPECT_THAT(good.out, EndsWith("Every lamp shows what the settings say, in every window.\n"));
  EXPECT_THAT(good.out, HasSubstr("flashes at 3 to 30 Hz"));
  // A unit whose two lamps have each other's wires.
  std::string crossed = files::gauge;
  for (std::string::size_type at = 0; (at = crossed.find("near: white", at)) != std::string::npos; ++at)
    crossed.replace(at, 11, "far: magenta");
  const std::string both = "far: magenta, far: magenta";
  crossed.replace(crossed.find(both), both.size(), "near: white, far: magenta");
  scratch.write("crossed.yaml", crossed);
  scratch.write(
      "crossed-rig.yaml",
      "format: 1\nkind: rig\nsource: {kind: simulated}\nwatch: {kind: simulated, unit: crossed.yaml}\n");
  const Finished bad = tachproof("rig crossed-rig.yaml --gauge gauge.yaml --json");
  EXPECT_EQ(bad.status, 1) << bad.out << bad.err;
  const json report = json::parse(bad.out);
  EXPECT_EQ(report["verdict"], "fail");
  EXPECT_EQ(report["windows"][1]["should_show"], "near white");
  EXPECT_EQ(report["windows"][1]["shown"], "far magenta");
  EXPECT_EQ(report["swapped"].size(), 2u);
}

TEST_F(Program, ALampTestsRowsFitTheTerminal) {
  std::string many =
      "format: 1\nkind: gauge\nname: Row of eight\npulses_per_rev: 2\nanchors: {pit: 3000}\nlamps:\n";
  std::string lit, other;
  for (int i = 1; i <= 8; ++i) {
    many += fmt::format("  - {{id: position-{}, colours: [magenta, cyan]}}\n", i);
    lit += fmt::format("{}position-{}: magenta", i == 1 ? "" : ", ", i);
    other += fmt::format("{}position-{}: cyan", i == 1 ? "" : ", ", i);
  }
  many += "windows:\n  - {name: calm, from: 0, show: {}}\n";
  const std::string last =
      "deadband: {rpm: 10, sits: below}\n"
      "tolerance: {rpm: 3, response_ms: {from: 0, to: 120}, settle_ms: 10}\n";
  const auto window = [](const std::string& show) {
    return "  - {name: far-beyond-what-is-allowed-in-the-lane, from: {pit: 0}, show: {" + show + "}}\n";
  };
  scratch.write("many.yaml", many + window(lit) + last);
  scratch.write("cyan.yaml", many + window(other) + last);
  scratch.write(
      "many-rig.yaml",
      "format: 1\nkind: rig\nsource: {kind: simulated}\nwatch: {kind: simulated, unit: cyan.yaml}\n");
  const Finished bad = tachproof("rig many-rig.yaml --gauge many.yaml");
  EXPECT_EQ(bad.status, 1) << bad.out << bad.err;
  EXPECT_THAT(bad.out,
              HasSubstr("  far-beyond-what-is-allowed-in-the-lane\n"
                        "               position-1 magenta, position-2 magenta, position-3 magenta,\n"
                        "               position-4 magenta, position-5 magenta, position-6 magenta,\n"
                        "               position-7 magenta, position-8 magenta\n"
                        "               BUT SHOWN: position-1 cyan, position-2 cyan, position-3 cyan,\n"
                        "               position-4 cyan, position-5 cyan, position-6 cyan, position-7\n"
                        "               cyan, position-8 cyan\n"));
  std::istringstream lines(bad.out);
  for (std::string line; std::getline(lines, line);) EXPECT_LE(line.size(), 80U) << line;
}

TEST_F(Program, RefusesWordsThatMakeNoLampTest) {
  const std::map<std::string, std::string> lines = {
      {"", "give either a rig file to prove or --out for one to make"},
      {"rig.yaml --out new.yaml", "give either a rig file to prove or --out for one to make"},
      {"rig.yaml --port p", "a rig file has its own source and watcher; such options go with --out"},
      {"--out new.yaml", "give --source: board, scpi, simulated"},
      {"--out new.yaml --source radio", "--source is 'radio'; allowed: board, scpi, simulated"},
      {"--out new.yaml --source scpi", "give --watch: gpio, camera, simulated"},
      {"--out new.yaml --source scpi --watch gpio", "give --lines; see `tachproof rig --help`"},
      {"--out new.yaml --source scpi --lines 4,,5",
       "--lines is '4,,5'; it must name each line once, between commas"},
      {"--out new.yaml --source scpi --lines 4 --address h --amplitude-v 50 --offset-v 0",
       "--amplitude-v is '50'; it must be from 0.001 to 40"},
      {"--out new.yaml --source simulated --port p", "--port does not go with --source simulated"},
      {"--out new.yaml --clip run.avi --regions none.yaml",
       "there is no none.yaml: teach it from a clip first, see `tachproof teach --help`"},
      {"--out rig.yaml", "rig.yaml exists already; give another name"},
      {"rig.yaml gauge.yaml", "give one rig file only"},
  };
  for (const auto& [words, line] : lines) {
    const Finished bad = tachproof("rig " + words + " --gauge gauge.yaml");
    EXPECT_EQ(bad.status, 2) << words;
    EXPECT_EQ(bad.err, "tachproof rig: " + line + "\n");
  }
  EXPECT_EQ(tachproof("rig --gauge gauge.yaml --port no-such --out new.yaml").status, 3);
  EXPECT_FALSE(std::filesystem::exists(scratch / "new.yaml"));
}

TEST_F(Program, MakesASimulatedRigAndProvesIt) {
  const Finished made = tachproof("rig --gauge gauge.yaml --out new.yaml --unit gauge.yaml");
  EXPECT_EQ(made.status, 2) << "nothing says what plays";
  const Finished good =
      tachproof("rig --gauge gauge.yaml --out new.yaml --source simulated --unit gauge.yaml");
  EXPECT_EQ(good.status, 0) << good.out << good.err;
  EXPECT_THAT(good.out, EndsWith("Every lamp shows what the settings say, in every window.\n"));
  EXPECT_EQ(run_of("new.yaml", "--out here").status, 0);
}

TEST_F(Program, AsksAtTheTerminalWhatARigShallBe) {
  const Finished made = run_in_terminal(command_line("rig --gauge gauge.yaml --out new.yaml"), scratch.path(),
                                        {}, {"A number or word from above: ", "3\n"});
  EXPECT_THAT(made.out, HasSubstr("What plays the tach signal?"));
  EXPECT_EQ(made.status, 0) << made.out;
  EXPECT_EQ(tachproof("check new.yaml").out, "new.yaml: a sound rig file\n");
}

TEST_F(Program, AClipWantsItsRegionsAndItsScenario) {
  const std::map<std::string, std::string> lines = {
      {"", "give --wiring for a capture, or --regions and --scenario for a clip"},
      {"--regions r.yaml", "give --scenario as well: what was played while it was filmed"},
      {"--scenario scenario.yaml",
       "give --regions as well: where the clip shows the lamps; see `tachproof teach`"},
      {"--wiring wiring.yaml --fps 30",
       "--regions, --sync, --fps, --exposure-ms and --readout-ms do not go with a capture by --wiring"},
      {"--scenario scenario.yaml --regions r.yaml", "there is no run.avi"},
  };
  for (const auto& [words, line] : lines) {
    const Finished bad = tachproof("judge run.avi --gauge gauge.yaml " + words);
    EXPECT_EQ(bad.status, 2) << words;
    EXPECT_EQ(bad.err, "tachproof judge: " + line + "\n");
  }
}

TEST_F(Program, CalibratesOnlyWhatCanBeCalibrated) {
  const std::map<std::string, std::string> lines = {
      {"--input in0 --hz 1 --reference-ppm 0.1", "give either --port or --write"},
      {"--port p --input in8 --hz 1 --reference-ppm 0.1", "--input is 'in8'; allowed is in0 to in7"},
      {"--port p --input in0 --hz 5000 --reference-ppm 0.1", "--hz must be from 0.1 to 1000"},
      {"--port p --input in0 --hz 0.5 --reference-ppm 0.1 --for 20s",
       "--for, in seconds, must be from 22 to 86400"},
  };
  for (const auto& [words, line] : lines) {
    const Finished bad = tachproof("calibrate " + words);
    EXPECT_EQ(bad.status, 2) << words;
    EXPECT_EQ(bad.err, "tachproof calibrate: " + line + "\n");
  }
  const Finished simulated = tachproof("calibrate --write rig.yaml --input in0 --hz 1 --reference-ppm 0.1");
  EXPECT_EQ(simulated.status, 2);
  EXPECT_EQ(simulated.err,
            "rig.yaml:3:9: the source is not a board with a port; a clock belongs to one board\n");
}

TEST_F(Program, UsesColoursOnATerminalOnlyAndNotWithNoColor) {
  run_of("rig.yaml", "--out good");
  const auto words = command_line("report good");
  EXPECT_THAT(run_in_terminal(words, scratch.path()).out, HasSubstr("\033["));
  EXPECT_THAT(run_in_terminal(words, scratch.path(), {{"NO_COLOR", "1"}}).out, Not(HasSubstr("\033[")));
  EXPECT_THAT(run_process(words, scratch.path()).out, Not(HasSubstr("\033[")));
}

TEST_F(Program, AsksThePersonAtTheTerminal) {
  scratch.write("scenario.yaml", files::scenario_with_question());
  const auto words = command_line("run scenario.yaml --gauge gauge.yaml --rig rig.yaml --out here");
  const Finished right = run_in_terminal(words, scratch.path(), {}, {"Which lamp is on? ", "near\n"});
  EXPECT_EQ(right.status, 0) << right.out;
  EXPECT_EQ(stored_result("here")["answers"][0]["answer"], "near");
}

TEST_F(Program, ShowsItsProgressOnATerminalUntilCtrlC) {
  const auto words = command_line("run endless.yaml --gauge gauge.yaml --rig rig.yaml --out here");
  const Finished stopped =
      run_in_terminal(words, scratch.path(), {}, {" s of 604800.0 s  2500 rpm  calm", "\x03"});
  EXPECT_EQ(stopped.status, 3) << stopped.out;
  EXPECT_EQ(stored_result("here")["verdict"], "undecided");
  EXPECT_EQ(stored_result("here")["complete"], false);
}

TEST_F(Program, JudgesItsOwnCaptureAsItJudgedTheRun) {
  run_of("rig.yaml", "--out good");
  run_of("faulty-rig.yaml", "--out bad");
  const std::string with = " --gauge gauge.yaml --wiring wiring.yaml --out ";
  const Finished good = tachproof("judge good/capture.vcd" + with + "good-again");
  // Its one quick ramp proves no threshold, and a recording is asked for those.
  EXPECT_EQ(good.status, 3) << good.out << good.err;
  EXPECT_EQ(stored_result("good-again")["findings"].size(), 0u);
  EXPECT_EQ(tachproof("judge bad/capture.vcd" + with + "bad-again").status, 1);
  EXPECT_EQ(stored_result("good-again")["scenario"]["name"], "capture.vcd");
  EXPECT_EQ(tachproof("report good-again").status, 3);
}

TEST_F(Program, JudgesItsCaptureByTheScenarioThatWasPlayedAndVerifiesThat) {
  run_of("rig.yaml", "--out good");
  const std::string with = "judge good/capture.vcd --gauge gauge.yaml --wiring wiring.yaml --scenario ";
  const Finished good = tachproof(with + "scenario.yaml --out again");
  EXPECT_EQ(good.status, 0) << good.out << good.err;
  EXPECT_THAT(good.out, HasSubstr("judged by the profile of up and down"));
  EXPECT_EQ(stored_result("again")["scenario"]["name"], "up and down");
  EXPECT_EQ(tachproof("report again --verify").status, 0);
  std::string other = files::scenario;
  scratch.write("other.yaml", files::replaced(other, "rate: 500", "rate: 400"));
  const Finished bad = tachproof(with + "other.yaml --out wrong");
  EXPECT_EQ(bad.status, 2);
  EXPECT_THAT(bad.err,
              HasSubstr("good/capture.vcd does not go with the scenario up and down: the tach signal"));
  EXPECT_FALSE(std::filesystem::exists(scratch / "wrong"));
}

TEST_F(Program, IsUndecidedForARecordingThatIsCutShort) {
  run_of("rig.yaml", "--out good");
  std::ostringstream capture;
  capture << std::ifstream(scratch / "good" / "capture.vcd").rdbuf();
  std::string text = capture.str();
  text.resize(text.rfind('#') + 1);
  scratch.write("cut.vcd", text);
  const Finished cut = tachproof("judge cut.vcd --gauge gauge.yaml --wiring wiring.yaml --out again");
  EXPECT_EQ(cut.status, 3) << cut.out << cut.err;
  EXPECT_THAT(stored_result("again")["findings"].dump(), HasSubstr("lost-evidence"));
}

TEST_F(Program, IsUndecidedForATachChannelThatReachesNoBoundary) {
  run_of("rig.yaml", "--out good");
  std::string gauge = files::gauge;
  gauge.replace(gauge.find("pulses_per_rev: 2"), 17, "pulses_per_rev: 20");
  scratch.write("gauge.yaml", gauge);
  const Finished scaled =
      tachproof("judge good/capture.vcd --gauge gauge.yaml --wiring wiring.yaml --out again");
  EXPECT_EQ(scaled.status, 3) << scaled.out << scaled.err;
  EXPECT_THAT(scaled.out, HasSubstr("crosses no boundary of the gauge"));
}

TEST_F(Program, StartsNothingForAFileThatIsNoRecording) {
  scratch.write("garbage.vcd", "garbage\n");
  const Finished bad = tachproof("judge garbage.vcd --gauge gauge.yaml --wiring wiring.yaml --out again");
  EXPECT_EQ(bad.status, 2);
  EXPECT_THAT(bad.err, HasSubstr("garbage.vcd:1: "));
  EXPECT_FALSE(std::filesystem::exists(scratch / "again"));
}

}  // namespace
}  // namespace tachproof
