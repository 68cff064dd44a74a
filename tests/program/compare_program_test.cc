// settings diff, compare and accept as the whole program does them.
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
using testing::EndsWith;
using testing::HasSubstr;
using testing::Not;

using files::replaced;

class CompareProgram : public testing::Test {
 protected:
  void SetUp() override {
    scratch.write("gauge.yaml", files::gauge);
    scratch.write("raised.yaml", replaced(files::gauge, "pit: 3000", "pit: 3060"));
    scratch.write("rig.yaml", files::rig);
    scratch.write("raised-rig.yaml", replaced(files::rig, "gauge.yaml", "raised.yaml"));
    scratch.write("faulty-rig.yaml", files::faulty_rig);
  }
  Finished tachproof(const std::string& words) { return run_process(command_line(words), scratch.path()); }
  void survey(const std::string& gauge, const std::string& rig, const std::string& more) {
    const Finished done =
        tachproof("survey --within 0.3 --gauge " + gauge + " --rig " + rig + " --out " + more);
    ASSERT_NE(done.status, 2) << done.err;
  }
  std::string text_of(const std::string& file) {
    std::ostringstream text;
    text << std::ifstream(scratch / file).rdbuf();
    return text.str();
  }
  static std::string word_of(const json& comparison, const std::string& what, const std::string& boundary) {
    for (const json& item : comparison["items"])
      if (item["what"] == what && item["boundary"] == boundary) return item["word"];
    return "no such row";
  }
  ScratchFolder scratch;
};

TEST_F(CompareProgram, SettingsDiffSaysItAsAPersonWould) {
  const Finished diff = tachproof("settings diff gauge.yaml raised.yaml");
  EXPECT_EQ(diff.status, 0);
  EXPECT_EQ(diff.out, "anchor pit moves up 60 rpm (3000 to 3060): brisk, hasty move with it\n");
  EXPECT_EQ(tachproof("settings diff gauge.yaml gauge.yaml").out, "nothing differs\n");
  const json read = json::parse(tachproof("settings diff gauge.yaml raised.yaml --json").out);
  EXPECT_EQ(read["same"], false);
  EXPECT_EQ(read["windows"][0]["window"], "brisk");
  EXPECT_EQ(read["windows"][0]["falling_rpm"]["after"], 3050);
  const Finished bad = tachproof("settings merge gauge.yaml raised.yaml");
  EXPECT_EQ(bad.status, 2);
  EXPECT_EQ(bad.err, "tachproof settings: there is no 'merge'; there are diff and sheet\n");
}

TEST_F(CompareProgram, PassesWhatMovedAsItShould) {
  survey("gauge.yaml", "rig.yaml", "old");
  survey("raised.yaml", "raised-rig.yaml", "new");
  const Finished done = tachproof("compare old new --json --html page.html --junit junit.xml");
  EXPECT_EQ(done.status, 0) << done.out << done.err;
  const json read = json::parse(done.out);
  EXPECT_EQ(read.size(), 2u);
  EXPECT_EQ(read["verdict"], "pass");
  ASSERT_EQ(read["items"].size(), 13u);  // two boundaries of five rows, three cues
  const json& first = read["items"][1];
  EXPECT_EQ(first.size(), 8u);
  EXPECT_EQ(first["what"], "threshold");
  EXPECT_EQ(first["boundary"], "brisk");
  EXPECT_EQ(first["direction"], "rising");
  EXPECT_EQ(first["expected_change"], 60);
  EXPECT_NEAR(first["observed_change"].get<double>(), 60, 1);
  EXPECT_LE(first["e_n"].get<double>(), 1);
  EXPECT_EQ(first["word"], "as-intended");
  EXPECT_THAT(text_of("page.html"), HasSubstr("<strong>PASS</strong>"));
  EXPECT_THAT(text_of("page.html"), Not(HasSubstr("<script")));
  EXPECT_THAT(text_of("junit.xml"), HasSubstr("tests=\"14\" failures=\"0\" errors=\"0\""));
}

TEST_F(CompareProgram, FailsWhatMovedUnasked) {
  survey("gauge.yaml", "rig.yaml", "old");
  survey("gauge.yaml", "faulty-rig.yaml", "new");
  const Finished done = tachproof("compare old new --junit junit.xml");
  EXPECT_EQ(done.status, 1);
  EXPECT_THAT(done.out, HasSubstr("UNINTENDED"));
  EXPECT_THAT(done.out, HasSubstr("Judged by its own settings, the new run is a fail"));
  EXPECT_THAT(done.out, HasSubstr("\nFAIL: "));
  std::istringstream lines(done.out);
  for (std::string line; std::getline(lines, line);) EXPECT_LE(line.size(), 80u) << line;
  const json read = json::parse(tachproof("compare old new --json").out);
  EXPECT_EQ(word_of(read, "threshold", "hasty"), "unintended");
  EXPECT_EQ(word_of(read, "threshold", "brisk"), "as-intended");
  EXPECT_THAT(text_of("junit.xml"), HasSubstr("<failure"));
}

TEST_F(CompareProgram, FailsAUnitThatWasNotGivenItsNewSettings) {
  const std::string quick = replaced(files::scenario, "profile:",
                                     "profile:\n  - {hold: 2000, for: 500ms}\n  - {ramp: 5000, rate: 150}\n"
                                     "  - {ramp: 2000, rate: 150}");
  scratch.write("scenario.yaml", quick);
  tachproof("run scenario.yaml --gauge gauge.yaml --rig rig.yaml --out old");
  tachproof("run scenario.yaml --gauge raised.yaml --rig rig.yaml --out new");
  const Finished done = tachproof("compare old new --json");
  EXPECT_EQ(done.status, 1) << done.err;
  EXPECT_EQ(word_of(json::parse(done.out), "threshold", "brisk"), "missing") << done.out;
}

// The unit's updates run free, and come elsewhere with another seed.
TEST_F(CompareProgram, OneUnitThatUpdatesSlowlyHasNotChanged) {
  const std::string quick = replaced(
      files::scenario, "profile:",
      "profile:\n  - {hold: 2000, for: 500ms}\n"
      "  - repeat: 4\n    steps: [{ramp: 5000, rate: 200}, {ramp: 2000, rate: 200}]\n"
      "  - repeat: 3\n    steps:\n"
      "      - {ramp: 2980, rate: 2000}\n      - {ramp: 3020, rate: 10}\n"
      "      - {ramp: 3980, rate: 2000}\n      - {ramp: 4020, rate: 10}\n"
      "      - {ramp: 4000, rate: 2000}\n      - {ramp: 3970, rate: 10}\n"
      "      - {ramp: 3000, rate: 2000}\n      - {ramp: 2970, rate: 10}\n"
      "      - {ramp: 2000, rate: 2000}\n"
      "  - repeat: 20\n    steps: [{step: 5000}, {hold: 5000, for: 311ms}, {step: 2000}, {hold: 2000, for: "
      "337ms}]\n");
  scratch.write("slow.yaml", replaced(files::rig, "response_ms: 20", "response_ms: 20, update_hz: 20"));
  for (const char* seed : {"7", "8", "9"}) {
    scratch.write("scenario.yaml", replaced(quick, "seed: 7", std::string("seed: ") + seed));
    tachproof("run scenario.yaml --gauge gauge.yaml --rig slow.yaml --out run" + std::string(seed));
  }
  EXPECT_EQ(tachproof("compare run7 run7").status, 0);
  for (const char* pair : {"run7 run8", "run8 run9"}) {
    const Finished done = tachproof(std::string("compare ") + pair);
    EXPECT_NE(done.status, 1) << pair << done.out << done.err;
  }
}

// As shipped, on the simulator: the unit that is in the rig file, and one of 20 updates a second.
TEST_F(CompareProgram, OneUnitTwiceHasNotChangedByTheScenariosThatShip) {
  const std::string sources = TACHPROOF_SOURCE_DIR;
  const auto read = [](const std::string& file) {
    std::ostringstream text;
    text << std::ifstream(file).rdbuf();
    return text.str();
  };
  scratch.write("drumlin.yaml", read(sources + "/fixtures/gauges/drumlin.yaml"));
  const std::string rig = replaced(read(sources + "/fixtures/rigs/simulated.yaml"), "../gauges/", "");
  scratch.write("usual.yaml", rig);
  scratch.write("slow.yaml", replaced(rig, "response_ms: 20", "response_ms: 20, update_hz: 20"));
  for (const std::string scenario : {"acceptance", "survey", "regression"})
    for (const std::string unit : {"usual", "slow"}) {
      const std::string name = scenario + "-" + unit;
      for (const std::string seed : {"1", "2", "3", "4"}) {
        scratch.write("scenario.yaml", replaced(read(sources + "/scenarios/" + scenario + ".yaml"), "seed: 1",
                                                "seed: " + seed));
        const Finished run = tachproof("run scenario.yaml --gauge drumlin.yaml --rig " + unit +
                                       ".yaml --no-history --out " + name + seed);
        ASSERT_NE(run.status, 2) << run.err;
      }
      for (const std::string other : {"2", "3", "4"}) {
        const Finished done = tachproof("compare " + name + "1 " + name + other);
        EXPECT_EQ(done.status, 0) << name << other << "\n" << done.out << done.err;
      }
    }
}

TEST_F(CompareProgram, ARunThatWasCutShortIsNeverAPass) {
  survey("gauge.yaml", "rig.yaml", "old");
  survey("gauge.yaml", "rig.yaml", "new");
  EXPECT_EQ(tachproof("compare old new").status, 0);
  std::ofstream(scratch / "new" / "timeline.csv", std::ios::app) << "\n";
  const Finished done = tachproof("compare old new");
  EXPECT_EQ(done.status, 3);
  EXPECT_THAT(done.out, EndsWith("UNDECIDED: a run is not complete.\n"));
}

TEST_F(CompareProgram, ComparesWithTheRunThatWasAccepted) {
  survey("gauge.yaml", "rig.yaml", "old --unit-serial K17 --history h.db");
  survey("gauge.yaml", "rig.yaml", "new --unit-serial K17 --history h.db");
  EXPECT_EQ(tachproof("compare --accepted K17 new --history h.db").err,
            "tachproof compare: no run was accepted for 'K17'\n");
  const Finished accept = tachproof("accept old --by Corrie --why first-article --history h.db");
  EXPECT_EQ(accept.status, 0) << accept.err;
  EXPECT_EQ(accept.out, "old is the reference for unit K17\n");
  const Finished done = tachproof("compare --accepted K17 new --history h.db");
  EXPECT_EQ(done.status, 0) << done.err;
  EXPECT_THAT(done.out, HasSubstr("\nAccepted by Corrie on "));
  EXPECT_THAT(tachproof("history --history h.db").out,
              HasSubstr("\nAccepted as the reference\nunit K17, survey"));
  const json runs = json::parse(tachproof("history --history h.db --json").out)["runs"];
  ASSERT_EQ(runs.size(), 2u);
  EXPECT_EQ(runs[0]["accepted"][0]["by"], "Corrie");
  EXPECT_EQ(runs[0]["accepted"][0]["why"], "first-article");
  EXPECT_TRUE(runs[1]["accepted"].empty());
  std::filesystem::remove_all(scratch / "old");
  const Finished gone = tachproof("compare --accepted K17 new --history h.db");
  EXPECT_EQ(gone.status, 2);
  EXPECT_THAT(gone.err, HasSubstr("no longer holds the run that was accepted"));
}

TEST_F(CompareProgram, AcceptRefusesWhatIsNoReference) {
  survey("gauge.yaml", "faulty-rig.yaml", "bad");
  const Finished refused = tachproof("accept bad --by Corrie --why haste --history h.db");
  EXPECT_EQ(refused.status, 2);
  EXPECT_EQ(refused.err,
            "tachproof accept: bad is not a pass: its verdict is fail; --even-so accepts it all the same\n");
  EXPECT_EQ(tachproof("accept bad --by Corrie --why haste --even-so --history h.db").out,
            "bad is the reference for gauge Two-lamp gauge\n");
  std::ofstream(scratch / "bad" / "timeline.csv", std::ios::app) << "\n";
  const Finished changed = tachproof("accept bad --by Corrie --why haste --even-so --history h.db");
  EXPECT_EQ(changed.status, 2);
  EXPECT_EQ(changed.err, "tachproof accept: bad is not complete: timeline.csv is not as the run left it.\n");
  EXPECT_EQ(tachproof("accept nowhere --by Corrie --why haste --history h.db").status, 2);
}

TEST_F(CompareProgram, BadUsageIsOneLineAndStatus2) {
  const std::map<std::string, std::string> lines = {
      {"compare old", "tachproof compare: give two run folders: OLD NEW\n"},
      {"compare --accepted K17 a b", "tachproof compare: with --accepted give one run folder: NEW\n"},
      {"compare --accepted K17 a --history none.db",
       "tachproof compare: there is no history at none.db yet\n"},
      {"accept a --why x", "tachproof accept: --by is missing\n"}};
  for (const auto& [words, line] : lines) {
    const Finished bad = tachproof(words);
    EXPECT_EQ(bad.status, 2) << words;
    EXPECT_EQ(bad.err, line) << words;
  }
}

}  // namespace
}  // namespace tachproof
