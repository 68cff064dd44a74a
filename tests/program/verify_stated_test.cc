// What result.json and the pages state beside the evidence: `report --verify` compares it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>

#include "tests/program/verify_bench.h"

namespace tachproof {
namespace {

using test::Verify;
using testing::HasSubstr;
using Kind = Verification::Kind;

TEST_F(Verify, ChecksWhatTheRigStatedByTheJournalAndTheRigFile) {
  run("faulty-rig.yaml", "run");
  const std::string result = whole_file(scratch / "run" / "result.json");
  scratch.write("run/result.json",
                files::replaced(result, "\"source_lag_ns\": 0", "\"source_lag_ns\": 200000000"));
  forge_sums("run", result);
  const std::string lines = lines_of(verified("run"), Kind::differs);
  EXPECT_THAT(lines, HasSubstr("rig.source_lag_ns is 200000000 in result.json and 0 in the first line of "
                               "journal.jsonl.\n"));
  EXPECT_THAT(lines,
              HasSubstr("rig.source_lag_ns is 200000000 in result.json; the rig of rig.yaml has 0.\n"));
}

TEST_F(Verify, RefusesNumbersThatNoRunCanHave) {
  run("faulty-rig.yaml", "run");
  const std::string result = whole_file(scratch / "run" / "result.json");
  const std::vector<std::array<std::string, 3>> cases = {
      {"\"source_lag_ns\": 0", "\"source_lag_ns\": 4607344000000000000",
       "source_lag_ns is 4607344000 s; it must be from 0 s to 3600 s"},
      {"\"source_lag_ns\": 0", "\"source_lag_ns\": 1e300",
       "source_lag_ns is not a whole number of nanoseconds"},
      {"\"source_lag_ns\": 0", "\"source_lag_ns\": 18446744073709551615",
       "source_lag_ns is 9223372037 s; it must be from 0 s to 3600 s"},
      {"\"source_rpm\": 0.0", "\"source_rpm\": -1.0", "source_rpm is below 0, or not there"},
      {"\"clock_ppm\": 0.0", "\"clock_ppm\": 1e30", "clock_ppm is 1e+30, which no run can have"},
      {"\"extra_tolerance_rpm\": 0.0", "\"extra_tolerance_rpm\": 1e300",
       "extra_tolerance_rpm is 1e+300, which no run can have"}};
  for (const auto& [from, to, why] : cases) {
    scratch.write("run/result.json", files::replaced(result, from, to));
    const Finished caught = tachproof("report run --verify --json");
    EXPECT_EQ(caught.status, 1) << to;
    EXPECT_THAT(caught.out, HasSubstr("result.json does not count: " + why + ".")) << to;
    EXPECT_EQ(tachproof("report run").status, 3) << to;
  }
}

TEST_F(Verify, TakesAnswersFromTheJournal) {
  scratch.write("asks.yaml", files::scenario_with_question());
  const Finished asked =
      run_in_terminal(command_line("run asks.yaml --gauge gauge.yaml --rig rig.yaml --out run"),
                      scratch.path(), {}, {"Which lamp is on?", "far\n"});
  ASSERT_EQ(asked.status, 1) << asked.out;
  EXPECT_EQ(verified("run").outcome(), Kind::agrees) << lines_of(verified("run"), Kind::differs);
  const std::string result = whole_file(scratch / "run" / "result.json");
  const std::size_t answers = result.find("\"answers\"");
  std::string forged = result;
  forged.replace(forged.find("\"far\"", answers), 5, "\"near\"");
  forged.replace(forged.find("\"fail\"", answers), 6, "\"pass\"");
  forged.replace(forged.find("\"fail\""), 6, "\"pass\"");
  scratch.write("run/result.json", forged);
  forge_sums("run", result);
  EXPECT_THAT(lines_of(verified("run"), Kind::differs),
              HasSubstr("answers[0].answer is \"near\" in result.json and \"far\" when judged again.\n"));
}

TEST_F(Verify, DrawsThePagesAgainAndComparesThem) {
  run("faulty-rig.yaml", "run");
  const std::string result = whole_file(scratch / "run" / "result.json");
  for (const std::string name : {"report.html", "junit.xml"}) {
    const std::string page = whole_file(scratch / "run" / name);
    scratch.write("run/" + name, files::replaced(page, name == "junit.xml" ? "failure" : "FAIL", "PASS"));
    forge_sums("run", result);
    const Finished caught = tachproof("report run --verify");
    EXPECT_EQ(caught.status, 1) << name;
    EXPECT_THAT(
        lines_of(verified("run"), Kind::differs),
        HasSubstr(name + " is not the page that result and evidence give: it was replaced or changed.\n"));
    scratch.write("run/" + name, page);
  }
  forge_sums("run", result);
  EXPECT_EQ(verified("run").outcome(), Kind::agrees);
}

TEST_F(Verify, CannotCompareThePagesOfAnotherVersionOfTheProgram) {
  run("rig.yaml", "run");
  VerifyBy later = this_program();
  later.tool_version = "9.9";
  EXPECT_EQ(verify_run(scratch / "run", later).outcome(), Kind::agrees) << "they are the same all the same";
  later.pages = [](const RunRecord&, const Trace&) { return std::vector<Page>{{"report.html", "new"}}; };
  EXPECT_THAT(lines_of(verify_run(scratch / "run", later), Kind::cannot),
              HasSubstr("report.html was drawn by version 0.1.0 of the program, and this is 9.9"));
  ASSERT_EQ(tachproof("report run --sign KEY.pem").status, 0);
  later.key = scratch / "PUB.pem";
  EXPECT_EQ(verify_run(scratch / "run", later).outcome(), Kind::agrees) << "the signature covers the page";
}

TEST_F(Verify, DoesNotBelieveALampThatIsSaidNotToBeWatched) {
  run("faulty-rig.yaml", "run");
  const std::string result = whole_file(scratch / "run" / "result.json");
  scratch.write("run/result.json",
                files::replaced(result, "\"not_judged\": []", "\"not_judged\": [\"far.magenta\"]"));
  forge_sums("run", result);
  EXPECT_THAT(lines_of(verified("run"), Kind::differs),
              HasSubstr("not_judged has 1 rows in result.json and 0"));
}

TEST_F(Verify, AFailThatIsAlteredIsUndecidedAndExitsSo) {
  run("faulty-rig.yaml", "run");
  scratch.write("run/result.json", whole_file(scratch / "run" / "result.json") + " ");
  const Finished shown = tachproof("report run");
  EXPECT_THAT(shown.out, HasSubstr("UNDECIDED"));
  EXPECT_EQ(shown.status, 3);
}

}  // namespace
}  // namespace tachproof
