// `report --verify`, `--sign` and `--html`: the folders are those of real runs.
#include "bench/run/verify.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <fstream>
#include <nlohmann/json.hpp>
#include <random>

#include "bench/commands/verifying.h"
#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "bench/record/signature.h"
#include "tests/bench/error_of.h"
#include "tests/bench/scratch_folder.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/keys_for_tests.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using testing::EndsWith;
using testing::HasSubstr;
using testing::Not;
using testing::StartsWith;
using Kind = Verification::Kind;

using files::private_pem, files::private_pem_3, files::public_pem, files::public_pem_3;

std::string bytes_of(const std::string& hex) {
  std::string bytes;
  for (std::size_t i = 0; i < hex.size(); i += 2)
    bytes += static_cast<char>(std::stoi(hex.substr(i, 2), nullptr, 16));
  return bytes;
}

class Verify : public testing::Test {
 protected:
  void SetUp() override {
    scratch.write("gauge.yaml", files::gauge);
    scratch.write("scenario.yaml", files::scenario);
    scratch.write("rig.yaml", files::rig);
    scratch.write("faulty-rig.yaml", files::faulty_rig);
    scratch.write("wiring.yaml", files::wiring);
    scratch.write("KEY.pem", private_pem);
    scratch.write("PUB.pem", public_pem);
    scratch.write("other-PUB.pem", public_pem_3);
  }

  Finished tachproof(const std::string& words) { return run_process(command_line(words), scratch.path()); }
  void run(const std::string& rig, const std::string& out, const std::string& scenario = "scenario.yaml") {
    tachproof("run " + scenario + " --gauge gauge.yaml --rig " + rig + " --unit-serial K17 --out " + out);
  }

  Verification verified(const std::string& folder) { return verify_run(scratch / folder, this_program()); }

  std::string lines_of(const Verification& v, Kind kind) {
    std::string text;
    for (const Verification::Line& line : v.lines)
      if (line.kind == kind) text += line.text + "\n";
    return text;
  }

  // New sums for what the folder holds now, the journal's seal with them: what
  // a forger would do who knows the program.
  void forge_sums(const std::string& folder, const std::string& old_result) {
    std::string journal = whole_file(scratch / folder / "journal.jsonl");
    const std::string was = sha256_of(old_result);
    journal.replace(journal.find(was), was.size(), sha256_of_file(scratch / folder / "result.json"));
    scratch.write(folder + "/journal.jsonl", journal);
    std::vector<std::string> names;
    for (const FileSum& sum : parse_checksums(whole_file(scratch / folder / "SHA256SUMS")))
      names.push_back(sum.file);
    scratch.write(folder + "/SHA256SUMS", checksums_text(sums_of(scratch / folder, names)));
  }

  ScratchFolder scratch;
};

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

// ---- what is stated --------------------------------------------------------------

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
  scratch.write("asks.yaml", files::scenario_with_question);
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

// ---- signatures -----------------------------------------------------------------

// RFC 8032, 7.1, from memory; a slip in any digit would not verify.
TEST_F(Verify, SignsAsRfc8032Does) {
  const std::string key = (scratch / "KEY.pem").string();
  const std::string pub = (scratch / "PUB.pem").string();
  const std::string test_1 =
      "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5"
      "f05"
      "95bbe24655141438e7a100b";
  EXPECT_EQ(sign_ed25519("", key), bytes_of(test_1));
  EXPECT_TRUE(verify_ed25519("", bytes_of(test_1), pub));
  EXPECT_FALSE(verify_ed25519("x", bytes_of(test_1), pub));
  EXPECT_FALSE(verify_ed25519("", bytes_of(test_1).substr(0, 63), pub));
  const std::string test_3 =
      "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15"
      "e97"
      "16ed28dc027beceea1ec40a";
  scratch.write("3.pem", private_pem_3);
  EXPECT_EQ(sign_ed25519(bytes_of("af82"), scratch / "3.pem"), bytes_of(test_3));
  EXPECT_TRUE(verify_ed25519(bytes_of("af82"), bytes_of(test_3), scratch / "other-PUB.pem"));
}

TEST_F(Verify, ASignatureVouchesForTheWholeFolder) {
  run("faulty-rig.yaml", "run");
  const Finished sign = tachproof("report run --sign KEY.pem");
  EXPECT_EQ(sign.status, 0) << sign.err;
  EXPECT_EQ(sign.out, "Signed: run/SHA256SUMS.sig\n");
  const Finished good = tachproof("report run --verify --key PUB.pem");
  EXPECT_EQ(good.status, 0) << good.out;
  EXPECT_THAT(good.out, HasSubstr("agrees   SHA256SUMS is signed with the key of PUB.pem.\n"));
  EXPECT_EQ(tachproof("report run --verify --key other-PUB.pem").status, 1);

  // A forger without the key, who knows the program: everything fits together but the signature.
  const std::string result = whole_file(scratch / "run" / "result.json");
  for (const char* name : {"result.json", "journal.jsonl", "report.html", "junit.xml"}) {
    std::string text = whole_file(scratch / "run" / name);
    for (std::size_t at = 0; (at = text.find("K17", at)) != std::string::npos;) text.replace(at, 3, "K18");
    scratch.write(std::string("run/") + name, text);
  }
  forge_sums("run", result);
  EXPECT_EQ(tachproof("report run --verify").status, 0) << "only the name differs: the evidence cannot tell";
  const Finished caught = tachproof("report run --verify --key PUB.pem");
  EXPECT_EQ(caught.status, 1);
  EXPECT_THAT(caught.out, HasSubstr("DIFFERS  SHA256SUMS.sig is not the signature of SHA256SUMS"));
}

TEST_F(Verify, ASignatureThatIsMissingVouchesForNothing) {
  run("rig.yaml", "run");
  EXPECT_EQ(tachproof("report run --verify --key PUB.pem").status, 1);
}

TEST_F(Verify, SignsNothingThatIsNotAsTheRunLeftIt) {
  run("rig.yaml", "run");
  scratch.write("run/report.html", "PASS");
  const Finished sign = tachproof("report run --sign KEY.pem");
  EXPECT_EQ(sign.status, 2);
  EXPECT_EQ(
      sign.err,
      "tachproof report: run is not signed: report.html is not as the run left it: its SHA-256 differs\n");
  EXPECT_FALSE(std::filesystem::exists(scratch / "run" / "SHA256SUMS.sig"));
  EXPECT_EQ(error_of([&] { sign_ed25519("", scratch / "PUB.pem"); }),
            (scratch / "PUB.pem").string() + " holds no Ed25519 private key in PEM without a passphrase");
}

TEST_F(Verify, SignsNoVerdictThatTheEvidenceDoesNotBear) {
  run("faulty-rig.yaml", "run");
  const std::string result = whole_file(scratch / "run" / "result.json");
  scratch.write("run/result.json", files::replaced(result, "\"fail\"", "\"pass\""));
  forge_sums("run", result);
  const Finished sign = tachproof("report run --sign KEY.pem");
  EXPECT_EQ(sign.status, 2);
  EXPECT_EQ(
      sign.err,
      "tachproof report: run is not signed: verdict is \"pass\" in result.json and \"fail\" when judged "
      "again\n");
  scratch.write("run/SHA256SUMS", "");
  EXPECT_EQ(tachproof("report run --sign KEY.pem").status, 2);
  EXPECT_FALSE(std::filesystem::exists(scratch / "run" / "SHA256SUMS.sig"));
}

TEST_F(Verify, ReplacesAnotherKeysSignatureOnlyWhenTold) {
  run("rig.yaml", "run");
  scratch.write("other-KEY.pem", private_pem_3);
  ASSERT_EQ(tachproof("report run --sign other-KEY.pem").status, 0);
  EXPECT_EQ(tachproof("report run --sign other-KEY.pem").status, 0) << "once more by the same key";
  const Finished refused = tachproof("report run --sign KEY.pem");
  EXPECT_EQ(refused.status, 2);
  EXPECT_EQ(
      refused.err,
      "tachproof report: run/SHA256SUMS.sig is there already, and not by the key of KEY.pem: somebody else "
      "has signed, or the sums are others now. Check who has; --replace-signature puts yours in its place\n");
  EXPECT_EQ(tachproof("report run --verify --key other-PUB.pem").status, 0);
  const Finished replaced = tachproof("report run --sign KEY.pem --replace-signature");
  EXPECT_EQ(replaced.status, 0);
  EXPECT_EQ(
      replaced.out,
      "Replaced: the signature that was there was not by the key of KEY.pem\nSigned: run/SHA256SUMS.sig\n");
  EXPECT_EQ(tachproof("report run --verify --key PUB.pem").status, 0);
  EXPECT_EQ(tachproof("report run --replace-signature").err,
            "tachproof report: --replace-signature is for --sign\n");
}

TEST_F(Verify, OpensslAgreesWithTheSignature) {
  if (run_process({"openssl", "version"}, scratch.path()).status != 0) GTEST_SKIP() << "no openssl program";
  run("rig.yaml", "run");
  tachproof("report run --sign KEY.pem");
  const Finished check = run_process({"openssl", "pkeyutl", "-verify", "-rawin", "-pubin", "-inkey",
                                      "PUB.pem", "-sigfile", "run/SHA256SUMS.sig", "-in", "run/SHA256SUMS"},
                                     scratch.path());
  EXPECT_EQ(check.status, 0) << check.out << check.err;
  // And keys that openssl makes.
  run_process({"openssl", "genpkey", "-algorithm", "ed25519", "-out", "new.pem"}, scratch.path());
  run_process({"openssl", "pkey", "-in", "new.pem", "-pubout", "-out", "new-pub.pem"}, scratch.path());
  EXPECT_TRUE(verify_ed25519("abc", sign_ed25519("abc", scratch / "new.pem"), scratch / "new-pub.pem"));
}

}  // namespace
}  // namespace tachproof
