// `report --verify`, `--html` and evidence that was changed: the folders are those of real runs.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <random>

#include "tests/program/verify_bench.h"

namespace tachproof {
namespace {

using test::Verify;
using testing::AllOf;
using testing::EndsWith;
using testing::HasSubstr;
using testing::StartsWith;
using Kind = Verification::Kind;

TEST_F(Verify, AgreesWithARunThatIsAsItWas) {
  run("rig.yaml", "good");
  const Finished good = tachproof("report good --verify");
  EXPECT_EQ(good.status, 0) << good.out;
  EXPECT_EQ(good.out,
            "agrees   9 of 9 files are, byte by byte, as the run left them.\n"
            "note     SHA256SUMS is not signed: anyone who can write to the folder could have\n"
            "         written new sums.\n"
            "agrees   What is stated of rig, unit and inputs is what the journal and the\n"
            "         copies say.\n"
            "agrees   Judged again from the raw evidence: pass, with every row the same as in\n"
            "         result.json.\n"
            "agrees   The pulses and lamps in capture.vcd are those that were judged.\n"
            "agrees   Drawn again from the result and the evidence, the pages come out the\n"
            "         same.\n"
            "VERIFIED: the report says what the evidence says.\n");
}

TEST_F(Verify, VerifiesAFailureAsWell) {
  run("faulty-rig.yaml", "bad");
  const Finished bad = tachproof("report bad --verify --json");
  EXPECT_EQ(bad.status, 0) << bad.out;
  const auto json = nlohmann::json::parse(bad.out);
  EXPECT_EQ(json["outcome"], "verified");
  EXPECT_EQ(json["verdict"], "fail");
  EXPECT_EQ(json["judged_again"], "fail");
  EXPECT_THAT(json["report_id"].get<std::string>(), StartsWith("TP-2"));
}

TEST_F(Verify, JudgesAnswersNoiseAndStepsAgain) {
  scratch.write(
      "rough.yaml",
      "format: 1\nkind: scenario\nname: rough\nseed: 11\nprofile:\n  - {hold: 2000, for: 1s}\n"
      "  - {step: 3500}\n  - {hold: 3500, for: 2s}\n  - {wave: 3600, swing: 900, period: 2s, for: 6s}\n"
      "  - {press: capture, for: 200ms}\n  - {hold: 2500, for: 1s}\n"
      "noise: {jitter_us: 20, wander_rpm: 3, wander_s: 0.4, firing: [0.4, -0.4], missing: 1e-3, "
      "doubled: 1e-3}\n");
  run("rig.yaml", "rough", "rough.yaml");
  const Verification v = verified("rough");
  EXPECT_EQ(v.outcome(), Kind::agrees) << lines_of(v, Kind::differs) << lines_of(v, Kind::cannot);
}

TEST_F(Verify, JudgesARecordingAgain) {
  run("rig.yaml", "good");
  ASSERT_EQ(tachproof("judge good/capture.vcd --gauge gauge.yaml --wiring wiring.yaml --out again").status,
            3);
  std::filesystem::remove_all(scratch / "good");  // the run folder has its own copy
  const Finished again = tachproof("report again --verify");
  EXPECT_EQ(again.status, 0) << again.out;
}

TEST_F(Verify, JudgesASurveyAgain) {
  ASSERT_NE(tachproof("survey --gauge gauge.yaml --rig rig.yaml --out survey").status, 2);
  const Finished again = tachproof("report survey --verify");
  EXPECT_EQ(again.status, 0) << again.out;
}

TEST_F(Verify, JudgesADwellAgain) {
  scratch.write("dwell.yaml",
                "format: 1\nkind: scenario\nname: dwell\nseed: 3\n"
                "dwell: {limit_per_min: 60, confidence: 0.95, longest: 60s}\n"
                "noise: {jitter_us: 8, wander_rpm: 1, wander_s: 0.5}\n");
  run("rig.yaml", "dwell", "dwell.yaml");
  const Finished again = tachproof("report dwell --verify");
  EXPECT_EQ(again.status, 0) << again.out;
  EXPECT_THAT(again.out, HasSubstr("Judged again from the raw evidence"));
}

TEST_F(Verify, CatchesOneBitInAnyFile) {
  run("rig.yaml", "run");
  std::mt19937 random(1);
  int files = 0;
  for (const auto& entry : std::filesystem::directory_iterator(scratch / "run")) {
    const std::string name = entry.path().filename().string();
    const std::string whole = whole_file(entry.path());
    ++files;
    for (int i = 0; i < 12; ++i) {
      std::string changed = whole;
      const std::size_t at = std::uniform_int_distribution<std::size_t>(0, whole.size() - 1)(random);
      changed[at] = static_cast<char>(changed[at] ^ (1 << i % 8));
      scratch.write("run/" + name, changed);
      EXPECT_EQ(verified("run").outcome(), Kind::differs) << name << " at " << at;
    }
    scratch.write("run/" + name, whole);
  }
  EXPECT_EQ(files, 10);
  EXPECT_EQ(verified("run").outcome(), Kind::agrees);
}

TEST_F(Verify, CatchesAFileThatIsGoneOrCutShort) {
  run("rig.yaml", "run");
  for (const char* name : {"capture.vcd", "timeline.csv", "scenario.yaml", "journal.jsonl", "result.json",
                           "report.html", "SHA256SUMS"}) {
    const std::string whole = whole_file(scratch / "run" / name);
    scratch.write(std::string("run/") + name, whole.substr(0, whole.size() / 2));
    EXPECT_EQ(verified("run").outcome(), Kind::differs) << name;
    std::filesystem::remove(scratch / "run" / name);
    const Verification v = verified("run");
    EXPECT_EQ(v.outcome(), Kind::differs) << name;
    EXPECT_THAT(lines_of(v, Kind::differs), HasSubstr(std::string(name) + " is missing")) << name;
    scratch.write(std::string("run/") + name, whole);
  }
}

TEST_F(Verify, CatchesAVerdictThatTheEvidenceDoesNotBear) {
  run("faulty-rig.yaml", "run");
  const std::string result = whole_file(scratch / "run" / "result.json");
  std::string forged = result;
  for (std::size_t at = 0; (at = forged.find("\"fail\"", at)) != std::string::npos;)
    forged.replace(at, 6, "\"pass\"");
  scratch.write("run/result.json", forged);
  forge_sums("run", result);
  const Finished caught = tachproof("report run --verify");
  EXPECT_EQ(caught.status, 1) << caught.out;
  EXPECT_THAT(caught.out, HasSubstr("agrees   9 of 9 files"));
  EXPECT_THAT(caught.out, HasSubstr("DIFFERS  verdict is \"pass\" in result.json and \"fail\" when judged"));
  EXPECT_THAT(caught.out, EndsWith("NOT VERIFIED: the evidence says otherwise.\n"));
}

// What a shop would do next is as much a part of the report as the verdict.
TEST_F(Verify, CatchesACauseThatTheEvidenceDoesNotGive) {
  scratch.write("scenario.yaml", files::measuring_scenario);
  const auto forged = [&](const std::string& from, const std::string& to) {
    std::filesystem::remove_all(scratch / "run");
    run("faulty-rig.yaml", "run");
    const std::string result = whole_file(scratch / "run" / "result.json");
    for (const char* name : {"result.json", "report.html", "junit.xml"}) {
      std::string text = whole_file(scratch / "run" / name);
      for (std::size_t at = 0; (at = text.find(from, at)) != std::string::npos; at += to.size())
        text.replace(at, from.size(), to);
      scratch.write(std::string("run/") + name, text);
    }
    forge_sums("run", result);
    return lines_of(verified("run"), Kind::differs);
  };
  EXPECT_THAT(forged("boundary hasty were at 4040", "boundary hasty were at 4041"),
              AllOf(HasSubstr("causes[0].text is \"The unit acts as if boundary hasty were at 4041"),
                    HasSubstr("when looked for again")));
  EXPECT_THAT(forged("Write the settings to the unit again.", "Buy another."), HasSubstr("causes[0].do"));
  EXPECT_THAT(forged("\"by_rpm\": 40", "\"by_rpm\": 39"), HasSubstr("causes[0].changes[0].by_rpm"));
  EXPECT_THAT(forged("\"causes\": [", "\"no_cause\": \"Nothing is known\", \"missing\": [], \"causes\": ["),
              HasSubstr("no_cause"));
}

TEST_F(Verify, CatchesACauseOfARunThatPasses) {
  run("rig.yaml", "run");
  const std::string result = whole_file(scratch / "run" / "result.json");
  std::string forged = result;
  forged.replace(
      forged.find("\"findings\""), 0,
      "\"causes\": [{\"text\": \"Made up\", \"changes\": [], \"explains\": 1, \"of\": 1, \"left\": "
      "[], \"do\": \"Buy another.\"}], \"told_apart\": true, ");
  scratch.write("run/result.json", forged);
  forge_sums("run", result);
  EXPECT_THAT(lines_of(verified("run"), Kind::differs), HasSubstr("causes"));
}

TEST_F(Verify, CatchesACandidateThatWasNotKept) {
  scratch.write("scenario.yaml", files::measuring_scenario);
  scratch.write("old.yaml", files::replaced(files::gauge, "pit: 3000", "pit: 2960"));
  scratch.write("old-rig.yaml", files::replaced(files::rig, "unit: gauge.yaml", "unit: old.yaml"));
  run("old-rig.yaml", "run");
  EXPECT_EQ(verified("run").outcome(), Kind::agrees);
  const std::string result = whole_file(scratch / "run" / "result.json");
  const std::string journal =
      files::replaced(whole_file(scratch / "run" / "journal.jsonl"), "\"candidate\",\"file\":\"candidate-1",
                      "\"candidate\",\"file\":\"candidate-2");
  scratch.write("run/journal.jsonl", journal);
  forge_sums("run", result);
  EXPECT_THAT(lines_of(verified("run"), Kind::differs), HasSubstr("candidate-2.yaml, which was not kept"));
}

TEST_F(Verify, CatchesSettingsInTheReportThatTheGaugeFileDoesNotHave) {
  run("rig.yaml", "run");
  const std::string result = whole_file(scratch / "run" / "result.json");
  std::string forged = result;
  const std::size_t at = forged.find("\"pit\"");
  ASSERT_NE(at, std::string::npos);
  forged.replace(forged.find("3000", at), 4, "3001");
  scratch.write("run/result.json", forged);
  forge_sums("run", result);
  EXPECT_THAT(lines_of(verified("run"), Kind::differs), HasSubstr("gauge.settings"));
}

TEST_F(Verify, CatchesLampsThatWereMoved) {
  run("faulty-rig.yaml", "run");
  run("rig.yaml", "good");
  const std::string result = whole_file(scratch / "run" / "result.json");
  // The evidence of a good unit under the report of a bad one.
  std::filesystem::copy_file(scratch / "good" / "timeline.csv", scratch / "run" / "timeline.csv",
                             std::filesystem::copy_options::overwrite_existing);
  forge_sums("run", result);
  const Verification v = verified("run");
  EXPECT_EQ(v.outcome(), Kind::differs);
  EXPECT_THAT(lines_of(v, Kind::differs), HasSubstr("capture.vcd does not match"));
}

TEST_F(Verify, CannotVerifyARunThatDidNotEnd) {
  run("rig.yaml", "run");
  // As a kill just before the end leaves it.
  std::string result = whole_file(scratch / "run" / "result.json");
  result.replace(result.find("\"complete\": true"), 16, "\"complete\": false");
  scratch.write("run/result.json", result);
  std::string journal = whole_file(scratch / "run" / "journal.jsonl");
  journal.resize(journal.rfind("{\"kind\":\"end\""));
  scratch.write("run/journal.jsonl", journal);
  std::filesystem::remove(scratch / "run" / "SHA256SUMS");
  const Finished cut = tachproof("report run --verify");
  EXPECT_EQ(cut.status, 3) << cut.out;
  EXPECT_THAT(cut.out, EndsWith("CANNOT BE VERIFIED: the folder does not show enough.\n"));
}

TEST_F(Verify, IsBadUsageWithoutARunFolderOrAKey) {
  std::filesystem::create_directory(scratch / "empty");
  const Finished none = tachproof("report empty --verify");
  EXPECT_EQ(none.status, 2);
  EXPECT_EQ(none.err,
            "tachproof report: empty is not a run folder: it has neither result.json nor journal.jsonl\n");
  run("rig.yaml", "run");
  EXPECT_EQ(tachproof("report run --key PUB.pem").err, "tachproof report: --key is for --verify\n");
  ASSERT_EQ(tachproof("report run --sign KEY.pem").status, 0);
  EXPECT_EQ(tachproof("report run --verify --key gauge.yaml").err,
            "tachproof report: gauge.yaml holds no Ed25519 public key in PEM without a passphrase\n");
}

TEST_F(Verify, NamesFilesThatAreNoPartOfTheRun) {
  run("rig.yaml", "run");
  scratch.write("run/photo.jpg", "x");
  const Verification v = verified("run");
  EXPECT_EQ(v.outcome(), Kind::agrees);
  EXPECT_THAT(lines_of(v, Kind::not_asked), HasSubstr("photo.jpg is not part of the run"));
}

TEST_F(Verify, ListsItsSumsAsSha256sumReadsThem) {
  run("rig.yaml", "run");
  const Finished check =
      run_process({"sha256sum", "--check", "--strict", "--quiet", "SHA256SUMS"}, scratch / "run");
  EXPECT_EQ(check.status, 0) << check.out << check.err;
}

TEST_F(Verify, DrawsTheSameReportAgain) {
  scratch.write("certificate.yaml",
                "format: 1\nkind: certificate\nshop: {name: Corrie}\ntested_by: Una Strath\n");
  ASSERT_EQ(tachproof("run scenario.yaml --gauge gauge.yaml --rig rig.yaml --out run --certificate "
                      "certificate.yaml")
                .status,
            0);
  EXPECT_EQ(tachproof("report run --html again.html").status, 0);
  const std::string report = whole_file(scratch / "run" / "report.html");
  EXPECT_EQ(whole_file(scratch / "again.html"), report);
  EXPECT_THAT(report, HasSubstr("Una Strath"));
  EXPECT_THAT(report, HasSubstr("<dt>certificate.yaml</dt>"));
  EXPECT_EQ(tachproof("report run --verify").status, 0);
}

TEST_F(Verify, ACertificateThatIsUnsoundStartsNothing) {
  scratch.write("certificate.yaml", "format: 1\nkind: certificate\nshop: {name: Corrie}\n");
  const Finished bad = tachproof(
      "run scenario.yaml --gauge gauge.yaml --rig rig.yaml --out run --certificate certificate.yaml");
  EXPECT_EQ(bad.status, 2);
  EXPECT_EQ(bad.err, "certificate.yaml:1:1: no 'tested_by' in a certificate file; a required key\n");
  EXPECT_FALSE(std::filesystem::exists(scratch / "run"));
}

}  // namespace
}  // namespace tachproof
