// Jobs as the whole program plays them.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>

#include <fstream>
#include <nlohmann/json.hpp>

#include "tests/bench/scratch_folder.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using nlohmann::json;
using testing::ElementsAre;
using testing::EndsWith;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::StartsWith;

using files::replaced;

constexpr const char* job = R"(format: 1
kind: job
name: Two lamps, up and down
gauge: gauge.yaml
play: scenario.yaml
rig: rig.yaml
serial: {pattern: "TL-[0-9]{3}"}
)";

class JobProgram : public testing::Test {
 protected:
  void SetUp() override {
    scratch.write("gauge.yaml", files::gauge);
    scratch.write("scenario.yaml", files::scenario);
    scratch.write("rig.yaml", files::rig);
    scratch.write("faulty-rig.yaml", files::faulty_rig);
    scratch.write("job.yaml", job);
  }

  Finished tachproof(const std::string& words) { return run_process(command_line(words), scratch.path()); }
  Finished run_of(const std::string& text, const std::string& more = "--unit-serial TL-017 --out out") {
    scratch.write("job.yaml", text);
    return tachproof("run job.yaml --no-history " + more);
  }
  json stored(const std::string& folder) {
    return json::parse(std::ifstream(scratch / folder / "result.json"));
  }
  bool there_is(const std::string& name) { return std::filesystem::exists(scratch / name); }
  std::string verified(const std::string& folder) {
    const Finished done = tachproof("report " + folder + " --verify");
    EXPECT_EQ(done.status, 0) << done.out << done.err;
    return done.out;
  }

  ScratchFolder scratch;
};

TEST_F(JobProgram, OfOnePartIsOneRunFolder) {
  const Finished done = run_of(job);
  EXPECT_EQ(done.status, 0) << done.out << done.err;
  EXPECT_THAT(done.out, EndsWith("Report: out/report.html\n"));
  EXPECT_THAT(done.err, IsEmpty());
  const json result = stored("out");
  EXPECT_EQ(result["verdict"], "pass");
  EXPECT_EQ(result["unit"]["serial"], "TL-017");
}

TEST_F(JobProgram, IsKeptInItsRunFolderAndVerifiedWithIt) {
  run_of(job);
  std::stringstream kept;
  kept << std::ifstream(scratch / "out/job.yaml").rdbuf();
  EXPECT_EQ(kept.str(), job);
  const json result = stored("out");
  bool listed = false;
  for (const json& input : result["inputs"]) listed = listed || input["file"] == "job.yaml";
  EXPECT_TRUE(listed);
  verified("out");
  std::ofstream(scratch / "out/job.yaml") << replaced(job, "TL-[0-9]{3}", "TL-[0-9]{4}");
  const Finished changed = tachproof("report out --verify");
  EXPECT_NE(changed.status, 0);
  EXPECT_THAT(changed.out, HasSubstr("job.yaml"));
}

TEST_F(JobProgram, OfTwoPartsIsTwoRunFoldersAndTheWorstVerdict) {
  const std::string two =
      replaced(job, "play: scenario.yaml", "play: [scenario.yaml, {survey: {within: 2}}]");
  const Finished done = run_of(two);
  EXPECT_EQ(done.status, 0) << done.out << done.err;
  EXPECT_THAT(done.out, HasSubstr("Report: out/1-scenario/report.html\n"));
  EXPECT_THAT(done.out, HasSubstr("Report: out/2-survey/report.html\n"));
  EXPECT_THAT(done.out, EndsWith("\nPASS: Two lamps, up and down (2 of 2 parts played)\n"));
  for (const char* part : {"out/1-scenario", "out/2-survey"}) {
    EXPECT_EQ(stored(part)["unit"]["serial"], "TL-017") << part;
    EXPECT_TRUE(there_is(std::string(part) + "/job.yaml")) << part;
    verified(part);
  }
  const Finished bad = run_of(replaced(two, "rig.yaml", "faulty-rig.yaml"), "--unit-serial TL-018 --out bad");
  EXPECT_EQ(bad.status, 1) << bad.out << bad.err;
  EXPECT_THAT(bad.out, EndsWith("\nFAIL: Two lamps, up and down (2 of 2 parts played)\n"));
}

TEST_F(JobProgram, PlaysThePlanOfItsGauge) {
  const Finished done = run_of(replaced(job, "play: scenario.yaml", "play: plan"));
  EXPECT_EQ(done.status, 0) << done.out << done.err;
  EXPECT_TRUE(there_is("out/scenario.yaml"));
  verified("out");
}

TEST_F(JobProgram, WithoutAFolderMakesOneOfItsNameAndSerialNumber) {
  const Finished done = run_of(replaced(job, "play: scenario.yaml", "play: [scenario.yaml, scenario.yaml]"),
                               "--unit-serial TL-017");
  EXPECT_EQ(done.status, 0) << done.out << done.err;
  std::vector<std::string> made;
  for (const auto& entry : std::filesystem::directory_iterator(scratch / "runs"))
    made.push_back(entry.path().filename().string());
  ASSERT_EQ(made.size(), 1U);
  EXPECT_THAT(made[0], HasSubstr("TL-017"));
  EXPECT_TRUE(there_is("runs/" + made[0] + "/1-scenario/result.json"));
  EXPECT_TRUE(there_is("runs/" + made[0] + "/2-scenario/result.json"));
}

TEST_F(JobProgram, PrintsJsonOfOnePartAsARunAndOfSeveralAsAJob) {
  const Finished one = run_of(job, "--unit-serial TL-017 --out one --json");
  EXPECT_EQ(one.status, 0) << one.err;
  EXPECT_EQ(json::parse(one.out), stored("one"));
  const Finished two =
      run_of(replaced(replaced(job, "play: scenario.yaml", "play: [scenario.yaml, {survey: {}}]"), "rig.yaml",
                      "faulty-rig.yaml"),
             "--unit-serial TL-017 --out two --json");
  EXPECT_EQ(two.status, 1) << two.err;
  const json printed = json::parse(two.out);
  EXPECT_EQ(printed["job"], "Two lamps, up and down");
  EXPECT_EQ(printed["verdict"], "fail");
  EXPECT_EQ(printed["runs"], json({stored("two/1-scenario"), stored("two/2-survey")}));
}

TEST_F(JobProgram, RefusesASerialNumberThatIsNotOfItsPattern) {
  for (const auto& [words, message] : std::vector<std::pair<std::string, std::string>>{
           {"--unit-serial 17",
            "--unit-serial: '17' is no serial number of this job; one looks like TL-[0-9]{3}"},
           {"", "--unit-serial: this job wants a serial number like TL-[0-9]{3}"},
           {"--unit-serial TL-017 --unit-serial TL-018", "a job tests one unit: give one --unit-serial"}}) {
    const Finished done = run_of(job, words + " --out out");
    EXPECT_EQ(done.status, 2) << words;
    EXPECT_EQ(done.err, "tachproof run: " + message + "\n");
    EXPECT_THAT(done.out, IsEmpty());
    EXPECT_FALSE(there_is("out"));
  }
}

TEST_F(JobProgram, RefusesWhatItNamesItselfAndWhatIsForSuites) {
  const std::string names = "tachproof run: job.yaml is a job and names its gauge and its rig: leave out ";
  EXPECT_EQ(run_of(job, "--gauge gauge.yaml").err, names + "--gauge\n");
  EXPECT_EQ(run_of(job, "--rig rig.yaml").err, names + "--rig\n");
  const std::string suites =
      "tachproof run: job.yaml is a job: --retry, --retry-fails, --shard, --resume and --skip-unplayable are "
      "for suites\n";
  for (const char* option : {"--retry 1", "--retry-fails", "--shard 1/2", "--resume", "--skip-unplayable"}) {
    const Finished done = run_of(job, std::string("--unit-serial TL-017 ") + option);
    EXPECT_EQ(done.status, 2) << option;
    EXPECT_EQ(done.err, suites) << option;
  }
}

TEST_F(JobProgram, IsNoScenarioOfASuite) {
  const Finished done = tachproof("run job.yaml scenario.yaml --gauge gauge.yaml --rig rig.yaml");
  EXPECT_EQ(done.status, 2);
  EXPECT_THAT(done.err, HasSubstr("job.yaml:2:7: a job file in place of a scenario file"));
}

TEST_F(JobProgram, WithABadFileStartsNothing) {
  const Finished done = run_of(replaced(job, "gauge.yaml", "gauges.yaml"));
  EXPECT_EQ(done.status, 2);
  EXPECT_EQ(done.err,
            "job.yaml:4:8: 'gauge' names gauges.yaml, which is not there; a file, named from the folder of "
            "this one\n");
  EXPECT_FALSE(there_is("out"));
}

TEST_F(JobProgram, TakesTheCertificateThatItNamesUnlessOneIsGiven) {
  scratch.write("own.yaml", "format: 1\nkind: certificate\nshop: {name: Corrie}\ntested_by: Una Strath\n");
  scratch.write("other.yaml", "format: 1\nkind: certificate\nshop: {name: Tarn}\ntested_by: Una Strath\n");
  const std::string with = std::string(job) + "certificate: own.yaml\n";
  EXPECT_EQ(run_of(with).status, 0);
  EXPECT_EQ(stored("out")["certificate"]["shop"]["name"], "Corrie");
  EXPECT_EQ(run_of(with, "--unit-serial TL-017 --out other --certificate other.yaml").status, 0);
  EXPECT_EQ(stored("other")["certificate"]["shop"]["name"], "Tarn");
}

// A stopped part ends the job: what comes after it is not played and not passed.
TEST_F(JobProgram, ThatIsStoppedIsUndecidedAndPlaysNoMore) {
  scratch.write("endless.yaml", files::endless_scenario);
  scratch.write("job.yaml", replaced(job, "play: scenario.yaml", "play: [endless.yaml, scenario.yaml]"));
  Process process(command_line("run job.yaml --unit-serial TL-017 --out out --no-history"), scratch.path());
  ASSERT_TRUE(makes_progress(scratch / "out/1-endless/journal.jsonl"));
  process.signal(SIGINT);
  const Finished done = process.wait();
  EXPECT_EQ(done.status, 3) << done.out << done.err;
  EXPECT_THAT(done.out, EndsWith("\nUNDECIDED: Two lamps, up and down (1 of 2 parts played)\n"));
  EXPECT_EQ(stored("out/1-endless")["complete"], false);
  EXPECT_FALSE(there_is("out/2-scenario"));
}

}  // namespace
}  // namespace tachproof
