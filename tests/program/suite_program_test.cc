// Suites as the whole program plays them.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "tests/bench/scratch_folder.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/keys_for_tests.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using nlohmann::json;
using testing::ElementsAre;
using testing::EndsWith;
using testing::HasSubstr;
using testing::IsEmpty;

using files::replaced;

class SuiteProgram : public testing::Test {
 protected:
  // Two gauges, two scenarios, a rig whose unit is whatever it should be.
  void SetUp() override {
    for (const char* folder : {"gauges", "scenarios"}) std::filesystem::create_directory(scratch / folder);
    scratch.write("gauges/low.yaml", files::gauge);
    scratch.write("gauges/high.yaml", replaced(files::gauge, "pit: 3000", "pit: 3300"));
    scratch.write("scenarios/slow.yaml", files::scenario);
    scratch.write("scenarios/quick.yaml",
                  replaced(files::scenario, "{ramp: 5000, rate: 500}", "{step: 5000}"));
    scratch.write("rig.yaml", replaced(files::rig, "gauge.yaml", "gauge-under-test"));
    scratch.write("faulty.yaml", replaced(files::faulty_rig, "gauge.yaml", "gauge-under-test"));
  }

  Finished tachproof(const std::string& words) { return run_process(command_line(words), scratch.path()); }
  Finished suite(const std::string& more) {
    return tachproof("run scenarios --gauge gauges --rig rig.yaml " + more);
  }
  json stored(const std::string& folder) {
    return json::parse(std::ifstream(scratch / folder / "suite.json"));
  }
  std::string outcomes(const json& suite) {
    std::string text;
    for (const json& pair : suite["pairs"])
      text += pair["gauge"].get<std::string>() + "/" + pair["scenario"].get<std::string>() + " " +
              pair["outcome"].get<std::string>() + "\n";
    return text;
  }
  bool there_is(const std::string& name) { return std::filesystem::exists(scratch / name); }

  // A suite whose second scenario never ends, once that has begun.
  std::unique_ptr<Process> begun_endless_suite() {
    scratch.write("scenarios/toil.yaml", replaced(files::endless_scenario, "hold: 2500", "hold: 3500"));
    auto process = std::make_unique<Process>(
        command_line("run scenarios --gauge gauges/low.yaml --rig rig.yaml --out out"), scratch.path());
    EXPECT_TRUE(makes_progress(scratch / "out/low/toil/journal.jsonl"));
    return process;
  }

  ScratchFolder scratch;
};

TEST_F(SuiteProgram, PlaysEveryPairOfTwoFolders) {
  const Finished done = suite("--out out");
  EXPECT_EQ(done.status, 0) << done.out << done.err;
  EXPECT_THAT(done.out, EndsWith("\n\nPASS: All 4 pairs pass.\nReport: out/report.html\n"));
  EXPECT_THAT(done.err, IsEmpty());
  const json suite = stored("out");
  EXPECT_EQ(suite["verdict"], "pass");
  EXPECT_EQ(suite["complete"], true);
  EXPECT_EQ(outcomes(suite), "high/quick pass\nhigh/slow pass\nlow/quick pass\nlow/slow pass\n");
  for (const char* name : {"report.html", "junit.xml", "high/slow/result.json", "low/quick/report.html"})
    EXPECT_TRUE(there_is("out/" + std::string(name))) << name;
  const Finished again = tachproof("report out --json");
  EXPECT_EQ(again.status, 0) << again.err;
  EXPECT_EQ(outcomes(json::parse(again.out)), outcomes(suite));
}

TEST_F(SuiteProgram, EndsAsItsWorstPairAndPrintsItsJson) {
  const Finished done = tachproof(
      "run scenarios --gauge gauges/low.yaml --gauge gauges/high.yaml --rig faulty.yaml --rig rig.yaml "
      "--unit-serial L1 --unit-serial H1 --out out --json");
  EXPECT_EQ(done.status, 1) << done.err;
  EXPECT_EQ(json::parse(done.out), stored("out"));
  EXPECT_EQ(outcomes(stored("out")), "low/quick fail\nlow/slow fail\nhigh/quick pass\nhigh/slow pass\n");
  EXPECT_EQ(stored("out")["pairs"][3]["unit_serial"], "H1");
}

TEST_F(SuiteProgram, StartsNothingForABadFileAndTellsEveryError) {
  scratch.write("scenarios/bad.yaml", "format: 1\nkind: scenario\nname: x\nprofil: []\n");
  scratch.write("scenarios/unkind.yaml", "format: 1\nkind: scenaro\n");
  scratch.write("scenarios/rig.yaml", "format: 1\nkind: rig\n");  // of another kind, and none of ours
  scratch.write("scenarios/notes.txt", "none of ours");
  const Finished done = suite("--out out");
  EXPECT_EQ(done.status, 2);
  EXPECT_THAT(done.err, HasSubstr("scenarios/bad.yaml:4:1: unknown key 'profil'"));
  EXPECT_THAT(done.err, HasSubstr("scenarios/unkind.yaml:2:7: "));
  EXPECT_THAT(done.out, IsEmpty());
  EXPECT_FALSE(there_is("out"));
}

TEST_F(SuiteProgram, RefusesWhatCannotBePlayedOrLeavesItOutAloud) {
  scratch.write("scenarios/idle.yaml", replaced(files::endless_scenario, "168h", "10s"));
  const Finished refused = suite("--out out");
  EXPECT_EQ(refused.status, 2);
  EXPECT_EQ(
      refused.err,
      "scenarios/idle.yaml: cannot be played on gauges/high.yaml: it never stays where that gauge must light "
      "a watched lamp, so a unit without power would pass\n"
      "scenarios/idle.yaml: cannot be played on gauges/low.yaml: it never stays where that gauge must light "
      "a watched lamp, so a unit without power would pass\n"
      "--skip-unplayable: leaves such pairs out, and says so in the reports\n");
  EXPECT_FALSE(there_is("out"));
  const Finished skipped = suite("--out out --skip-unplayable");
  EXPECT_EQ(skipped.status, 0) << skipped.err;
  EXPECT_THAT(skipped.out, HasSubstr("PASS: Of 6 pairs 4 pass, 2 were skipped.\n"));
  EXPECT_EQ(stored("out")["counts"]["skipped"], 2);
  const Finished nothing =
      tachproof("run scenarios/idle.yaml --gauge gauges --rig rig.yaml --skip-unplayable --out none");
  EXPECT_EQ(nothing.status, 3);
  EXPECT_THAT(nothing.out, HasSubstr("Nothing was played, so nothing is proven."));
}

TEST_F(SuiteProgram, ResumesAfterAKillAndPlaysOnlyWhatIsMissing) {
  const auto process = begun_endless_suite();
  process->signal(SIGKILL);
  process->wait();
  EXPECT_EQ(stored("out")["verdict"], "undecided");
  EXPECT_EQ(stored("out")["complete"], false);
  EXPECT_EQ(tachproof("report out").status, 3);

  scratch.write("scenarios/toil.yaml",
                replaced(files::endless_scenario, "hold: 2500, for: 168h", "hold: 3500, for: 5s"));
  const std::string words = "run scenarios --gauge gauges/low.yaml --rig rig.yaml --out out ";
  const Finished refused = tachproof(words);
  EXPECT_EQ(refused.status, 2);
  EXPECT_EQ(
      refused.err,
      "tachproof run: out is not empty; a suite writes only into a folder of its own, or goes on in it with "
      "--resume\n");
  const Finished resumed = tachproof(words + "--resume");
  EXPECT_EQ(resumed.status, 0) << resumed.out << resumed.err;
  EXPECT_THAT(resumed.out, HasSubstr("Resumed: 2 pairs are re-used, 1 is played again"));
  const json suite = stored("out");
  EXPECT_EQ(suite["counts"]["reused_attempts"], 2);
  EXPECT_EQ(suite["pairs"][2]["attempts"][0]["folder"], "low/toil@2");
  EXPECT_THAT(suite["pairs"][2]["set_aside"], ElementsAre("low/toil"));
}

TEST_F(SuiteProgram, PlaysAgainWhenTheUnitsOwnFileIsAnother) {
  scratch.write("unit.yaml", files::gauge);
  scratch.write("fixed.yaml", replaced(files::rig, "gauge.yaml", "unit.yaml"));
  const std::string words = "run scenarios --gauge gauges/low.yaml --rig fixed.yaml --out out --resume";
  EXPECT_EQ(tachproof(words).status, 0);
  EXPECT_THAT(tachproof(words).out, HasSubstr("Resumed: 2 pairs are re-used\n"));
  scratch.write("unit.yaml", replaced(files::gauge, "pit: 3000", "pit: 3040"));
  const Finished changed = tachproof(words);
  EXPECT_EQ(changed.status, 1) << changed.out << changed.err;
  EXPECT_EQ(outcomes(stored("out")), "low/quick fail\nlow/slow fail\n");
}

TEST_F(SuiteProgram, CtrlCEndsItUndecided) {
  const auto process = begun_endless_suite();
  process->signal(SIGINT);
  const Finished done = process->wait();
  EXPECT_EQ(done.status, 3) << done.out << done.err;
  EXPECT_THAT(done.out,
              HasSubstr("UNDECIDED: Of 3 pairs 2 pass, 1 is undecided. The suite did not get to its end.\n"));
  EXPECT_EQ(stored("out")["complete"], false);
}

TEST_F(SuiteProgram, SharesPairsOutAndPutsThemTogether) {
  EXPECT_EQ(suite("--shard 1/2 --out a").status, 0);
  EXPECT_EQ(suite("--shard 2/2 --out b").status, 0);
  const Finished whole = tachproof("report a b --html whole.html --junit whole.xml");
  EXPECT_EQ(whole.status, 0) << whole.out << whole.err;
  EXPECT_THAT(whole.out, EndsWith("PASS: All 4 pairs pass.\n"));
  EXPECT_TRUE(there_is("whole.html") && there_is("whole.xml"));
  const Finished part = tachproof("report b");
  EXPECT_EQ(part.status, 3);
  EXPECT_THAT(part.out, HasSubstr("  - Shard 1 of 2 is missing.\n"));
  EXPECT_EQ(suite("--shard 2/2 --out a --resume").err, "tachproof run: a is of shard 1/2, not of 2/2\n");
  scratch.write("gauges/low.yaml", files::gauge + "# another file\n");
  EXPECT_EQ(suite("--shard 2/2 --out c").status, 0);
  EXPECT_EQ(
      tachproof("report a c").err,
      "tachproof report: a and c are not shards of one suite: their gauges, scenarios, version or number of "
      "shards differ\n");
}

TEST_F(SuiteProgram, IsVerifiedAndSignedLikeARun) {
  scratch.write("KEY.pem", files::private_pem);
  scratch.write("PUB.pem", files::public_pem);
  EXPECT_EQ(tachproof("run scenarios --gauge gauges/low.yaml --rig faulty.yaml --out out").status, 1);
  const Finished good = tachproof("report out --verify");
  EXPECT_EQ(good.status, 0) << good.out << good.err;
  EXPECT_EQ(good.out,
            "agrees   5 of 5 files are, byte by byte, as the suite left them.\n"
            "note     SHA256SUMS is not signed: anyone who can write to the folder could have\n"
            "         written new sums.\n"
            "agrees   2 of 2 runs are verified: judged again, they say what they said.\n"
            "agrees   suite.json, report.html and junit.xml say what the run folders say.\n"
            "VERIFIED: the report says what the evidence says.\n");
  const Finished check =
      run_process({"sha256sum", "--check", "--strict", "--quiet", "SHA256SUMS"}, scratch / "out");
  EXPECT_EQ(check.status, 0) << check.out << check.err;
  EXPECT_EQ(tachproof("report out --sign KEY.pem").out, "Signed: out/SHA256SUMS.sig\n");
  EXPECT_EQ(tachproof("report out --verify --key PUB.pem").status, 0);

  // A page that says something else, a run that says something else.
  for (const std::string name : {"out/report.html", "out/junit.xml", "out/low/slow/report.html"}) {
    std::ostringstream page;
    page << std::ifstream(scratch / name).rdbuf();
    scratch.write(name, page.str() + "<!-- PASS -->");
    EXPECT_EQ(tachproof("report out --verify").status, 1) << name;
    EXPECT_EQ(tachproof("report out --sign KEY.pem").status, 2) << name;
    scratch.write(name, page.str());
  }
  EXPECT_EQ(tachproof("report out --verify --key PUB.pem").status, 0);
  EXPECT_EQ(tachproof("report out out --verify").err,
            "tachproof report: --verify and --sign take one folder: each shard's by itself\n");
}

TEST_F(SuiteProgram, AFailingSuiteDoesNotPassByItsOwnFile) {
  EXPECT_EQ(tachproof("run scenarios --gauge gauges/low.yaml --rig faulty.yaml --out out").status, 1);
  json suite = stored("out");
  for (json& pair : suite["pairs"])
    for (json& attempt : pair["attempts"]) {
      attempt["folder"] = nullptr;
      attempt["verdict"] = "pass";
    }
  scratch.write("out/suite.json", suite.dump(2) + "\n");
  EXPECT_EQ(tachproof("report out").status, 3);
  EXPECT_EQ(tachproof("report out --verify").status, 1);
  std::filesystem::remove_all(scratch / "out/low");
  const Finished resumed =
      tachproof("run scenarios --gauge gauges/low.yaml --rig faulty.yaml --out out --resume");
  EXPECT_EQ(resumed.status, 1) << resumed.out << resumed.err;
  EXPECT_EQ(outcomes(stored("out")), "low/quick fail\nlow/slow fail\n");
  EXPECT_EQ(tachproof("report out --verify").status, 0);
}

// Without its deadband the first boundary flickers at once, and the run ends there.
TEST_F(SuiteProgram, ADwellThatStoppedAtAFlickerIsPlayedToTheEndWhenThatIsAskedFor) {
  scratch.write("bare.yaml", replaced(files::gauge, "rpm: 10,", "rpm: 0,"));
  scratch.write("bare-rig.yaml", replaced(files::rig, "gauge.yaml", "bare.yaml"));
  scratch.write("dwell.yaml",
                "format: 1\nkind: scenario\nname: quiet\nseed: 3\n"
                "dwell: {limit_per_min: 20, confidence: 0.95, longest: 2min}\n"
                "noise: {jitter_us: 20, wander_rpm: 2, wander_s: 0.4}\n");
  const std::string words =
      "run dwell.yaml --gauge gauges/low.yaml --rig bare-rig.yaml --out out --no-history --resume";
  const auto held = [&](const std::string& folder) {
    return json::parse(std::ifstream(scratch / "out/low" / folder / "result.json"))["flicker"].size();
  };
  EXPECT_EQ(tachproof(words).status, 1);
  EXPECT_EQ(held("dwell"), 1U);
  EXPECT_THAT(tachproof(words).out, HasSubstr("Resumed: 1 pair is re-used\n"));
  EXPECT_FALSE(there_is("out/low/dwell@2"));
  const Finished whole = tachproof(words + " --to-the-end");
  EXPECT_EQ(whole.status, 1) << whole.err;
  EXPECT_THAT(whole.out,
              HasSubstr("0 pairs are re-used, 1 is played again to the end: the run before stopped "
                        "at the first boundary that flickers\n"));
  EXPECT_EQ(held("dwell@2"), 2U);
  EXPECT_THAT(tachproof(words + " --to-the-end").out, HasSubstr("Resumed: 1 pair is re-used\n"));
  EXPECT_EQ(tachproof("report out --verify").status, 0);
}

TEST_F(SuiteProgram, ThatWasStoppedOrResumedCanBeVerifiedForWhatItIs) {
  const auto process = begun_endless_suite();
  process->signal(SIGINT);
  process->wait();
  EXPECT_EQ(tachproof("report out --verify").status, 3);
  scratch.write("scenarios/toil.yaml",
                replaced(files::endless_scenario, "hold: 2500, for: 168h", "hold: 3500, for: 5s"));
  EXPECT_EQ(tachproof("run scenarios --gauge gauges/low.yaml --rig rig.yaml --out out --resume").status, 0);
  const Finished whole = tachproof("report out --verify");
  EXPECT_EQ(whole.status, 0) << whole.out << whole.err;
}

TEST_F(SuiteProgram, RefusesWordsThatMakeNoSense) {
  const std::map<std::string, std::string> lines = {
      {"--retry many", "--retry is 'many'; it must be a whole number from 0 to 100"},
      {"--retry-fails", "--retry-fails goes with --retry"},
      {"--shard 3/2", "--shard is '3/2'; it must be I/N, such as 2/3, with I from 1 to N"},
      {"--shard 0/2", "--shard is '0/2'; it must be I/N, such as 2/3, with I from 1 to N"},
      {"--shard 5/5", "--shard is 5/5, but there are only 4 pairs to share out"},
      {"--resume", "--resume goes on in a folder: name it with --out"},
      {"--unit-serial K17", "1 --unit-serial for 2 gauge files; give one for each, in the same order"},
      {"--rig faulty.yaml", "2 --rig for 1 --gauge; give one for all, or one for each in the same order"},
  };
  for (const auto& [words, line] : lines) {
    const Finished bad = suite(words);
    EXPECT_EQ(bad.status, 2) << words;
    EXPECT_EQ(bad.err, "tachproof run: " + line + "\n");
  }
  EXPECT_EQ(tachproof("run scenarios scenarios/slow.yaml --gauge gauges --rig rig.yaml").err,
            "tachproof run: scenarios/slow.yaml is given twice\n");
  std::filesystem::create_directory(scratch / "more");
  scratch.write("more/slow.yml", files::scenario);
  EXPECT_EQ(
      tachproof("run scenarios more --gauge gauges --rig rig.yaml").err,
      "tachproof run: two scenarios are called slow: scenarios/slow.yaml and more/slow.yml; rename one\n");
  std::filesystem::create_directory(scratch / "empty");
  EXPECT_EQ(tachproof("run empty --gauge gauges --rig rig.yaml").err,
            "empty: no sound scenario file in it; a folder with at least one\n");
}

// A board that several gauges share has one place for a unit.
TEST_F(SuiteProgram, AsksForTheNextUnitOnHardware) {
  scratch.write("board.yaml",
                "format: 1\nkind: rig\nsource: {kind: board, port: nowhere}\n"
                "watch: {kind: board, wiring: {lamps: {near: {white: in0}, far: {magenta: in1}}}}\n");
  const std::string words = "run scenarios/slow.yaml --gauge gauges --rig board.yaml --out ";
  EXPECT_EQ(tachproof(words + "a").err,
            "tachproof run: board.yaml serves several gauges, and there is no terminal at which to connect "
            "the next unit; give one --rig for each --gauge, each with its own inputs or board\n");
  const Finished asked =
      run_in_terminal(command_line(words + "b"), scratch.path(), {},
                      {"Connect the unit for gauges/high.yaml (Two-lamp gauge), then press Enter:", "\n\n"});
  EXPECT_EQ(asked.status, 3) << asked.out;
  EXPECT_THAT(asked.out, HasSubstr("Connect the unit for gauges/low.yaml"));
  EXPECT_THAT(asked.out, HasSubstr("2 are undecided"));
}

}  // namespace
}  // namespace tachproof
