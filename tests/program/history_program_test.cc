// The history as the whole program keeps it.
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
using testing::IsEmpty;
using testing::StartsWith;

class HistoryProgram : public testing::Test {
 protected:
  void SetUp() override {
    scratch.write("gauge.yaml", files::gauge);
    scratch.write("scenario.yaml", files::measuring_scenario);
    scratch.write("rig.yaml", files::rig);
    scratch.write("faulty-rig.yaml", files::faulty_rig);
  }
  Finished tachproof(const std::string& words, const std::map<std::string, std::string>& environment = {}) {
    return run_process(command_line(words), scratch.path(), environment);
  }
  Finished run(const std::string& more, const std::map<std::string, std::string>& environment = {}) {
    return tachproof("run scenario.yaml --gauge gauge.yaml --rig " + more, environment);
  }
  ScratchFolder scratch;
};

TEST_F(HistoryProgram, TakesEveryRunInWithItsVerdict) {
  EXPECT_EQ(run("rig.yaml --unit-serial K17 --out a --history h.db").status, 0);
  EXPECT_EQ(run("faulty-rig.yaml --unit-serial K18 --out b --history h.db").status, 1);
  EXPECT_EQ(run("rig.yaml --out c --history h.db --no-history").status, 0);
  const Finished list = tachproof("history --history h.db");
  EXPECT_EQ(list.status, 0) << list.err;
  EXPECT_THAT(list.out, StartsWith("started          unit"));
  EXPECT_THAT(list.out,
              HasSubstr("\n2 simulated runs are left out of drift and spread; --simulated shows them.\n"));
  EXPECT_THAT(tachproof("history --history h.db --simulated").out, HasSubstr("Spread of SIMULATED units"));
  const json all = json::parse(tachproof("history --history h.db --json").out);
  ASSERT_EQ(all["runs"].size(), 2U);
  EXPECT_EQ(all["runs"][0]["unit"], "K17");
  EXPECT_EQ(all["runs"][0]["verdict"], "pass");
  EXPECT_EQ(all["runs"][1]["verdict"], "fail");
  const json k18 = json::parse(tachproof("history --history h.db --unit K18 --json").out)["runs"];
  ASSERT_EQ(k18.size(), 1U);
  EXPECT_THAT(k18[0]["causes"][0]["text"].get<std::string>(),
              StartsWith("The unit acts as if boundary hasty were at 4040 rpm (set: 4000"));
  EXPECT_THAT(tachproof("history --history h.db --unit K18").out,
              HasSubstr("\n  The unit acts as if boundary hasty were at 4040 rpm (set: 4000"));
}

TEST_F(HistoryProgram, IsFoundByTheEnvironmentAndThenWhereTheUsersDataIs) {
  EXPECT_EQ(run("rig.yaml --out a", {{"TACHPROOF_HISTORY", "named.db"}}).status, 0);
  EXPECT_TRUE(std::filesystem::exists(scratch / "named.db"));
  // The tests' own TACHPROOF_HISTORY is out of the way: env -u.
  const std::string program = TACHPROOF_PROGRAM;
  const Finished home =
      run_process({"env", "-u", "TACHPROOF_HISTORY", "XDG_DATA_HOME=" + scratch.path().string(), program,
                   "run", "scenario.yaml", "--gauge", "gauge.yaml", "--rig", "rig.yaml", "--out", "b"},
                  scratch.path());
  EXPECT_EQ(home.status, 0) << home.err;
  EXPECT_TRUE(std::filesystem::exists(scratch / "tachproof" / "history.db"));
  EXPECT_EQ(run("rig.yaml --out c", {{"TACHPROOF_HISTORY", ""}}).err, "") << "set to nothing: none, no word";
  EXPECT_EQ(
      tachproof("history").err,
      "tachproof history: TACHPROOF_HISTORY is empty: set it to the history's file, or give --history\n");
}

TEST_F(HistoryProgram, ThatCannotBeWrittenWarnsAndLeavesTheVerdict) {
  const Finished blocked = run("rig.yaml --out a --history gauge.yaml/h.db");
  EXPECT_EQ(blocked.status, 0);
  EXPECT_EQ(blocked.err, "warning: the run is not in the history: cannot make gauge.yaml: Not a directory\n");
  EXPECT_EQ(run("faulty-rig.yaml --out b --history gauge.yaml").status, 1);
}

TEST_F(HistoryProgram, TakesFoldersInLater) {
  run("rig.yaml --out a --unit-serial K17");
  run("rig.yaml --out b --unit-serial K17");
  const Finished add = tachproof("history --history h.db --add a b");
  EXPECT_EQ(add.status, 0) << add.err;
  EXPECT_EQ(add.out, "a: added\nb: added\n");
  EXPECT_EQ(tachproof("history --history h.db --add a").out, "a: was in the history already\n");
  EXPECT_EQ(tachproof("history --history h.db --add nowhere").status, 2);
}

TEST_F(HistoryProgram, AcceptsOnlyWhatTheEvidenceBearsOut) {
  EXPECT_EQ(run("faulty-rig.yaml --out bad --unit-serial K17 --history h.db").status, 1);
  const auto change = [&](const std::string& file, const std::string& from, const std::string& to) {
    std::ostringstream text;
    text << std::ifstream(scratch / file).rdbuf();
    scratch.write(file, files::replaced(text.str(), from, to));
  };
  const std::string words = "accept bad --by Corrie --why first --even-so --history h.db";
  EXPECT_EQ(tachproof(words).status, 0);
  change("bad/report.html", "FAIL", "PASS");
  const Finished refused = tachproof(words);
  EXPECT_EQ(refused.status, 2);
  EXPECT_EQ(refused.err,
            "tachproof accept: bad is not accepted, because `report bad --verify` does not bear it out: "
            "report.html is not as the run left it: its SHA-256 differs\n");
}

TEST_F(HistoryProgram, DrawsOnePage) {
  run("rig.yaml --out a --unit-serial K17 --history h.db");
  EXPECT_EQ(tachproof("history --history h.db --simulated --html page.html").status, 0);
  std::ostringstream page;
  page << std::ifstream(scratch / "page.html").rdbuf();
  EXPECT_THAT(page.str(), HasSubstr("SIMULATED unit K17, Two-lamp gauge"));
}

TEST_F(HistoryProgram, BadUsageIsOneLineAndStatus2) {
  const std::map<std::string, std::string> lines = {
      {"history --history none.db", "tachproof history: there is no history at none.db yet\n"},
      {"history --add", "tachproof history: RUN is missing\n"},
      {"history a", "tachproof history: run folders are for --add\n"},
      {"history --since yesterday",
       "tachproof history: --since is 'yesterday'; a date as YYYY-MM-DD, such as 2031-03-14\n"},
      {"history --history gauge.yaml",
       "tachproof history: the history gauge.yaml: file is not a database\n"}};
  for (const auto& [words, line] : lines) {
    const Finished bad = tachproof(words);
    EXPECT_EQ(bad.status, 2) << words;
    EXPECT_EQ(bad.err, line) << words;
    EXPECT_THAT(bad.out, IsEmpty());
  }
}

}  // namespace
}  // namespace tachproof
