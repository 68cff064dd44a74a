#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <fstream>
#include <limits>
#include <nlohmann/json.hpp>
#include <random>
#include <set>
#include <sstream>
#include <thread>

#include "bench/record/folder_format.h"
#include "bench/record/result_json.h"
#include "bench/reports/run_report.h"
#include "tests/bench/approved.h"
#include "tests/bench/drumlin_run.h"
#include "tests/bench/error_of.h"

namespace tachproof {
namespace {

using nlohmann::json;
using testing::Contains;
using testing::HasSubstr;
using testing::StartsWith;

// Streams a run as a runner would, in pieces.
void write_run(const std::filesystem::path& folder, const drumlin::Run& run) {
  RunFolder out = RunFolder::create(folder, drumlin::begun(), run_pages);
  const auto pieces = [](const auto& all, const auto& take) {
    for (std::size_t i = 0; i < all.size(); i += 3)
      take({all.begin() + static_cast<std::ptrdiff_t>(i),
            all.begin() + static_cast<std::ptrdiff_t>(std::min(i + 3, all.size()))});
  };
  pieces(run.trace.rpm, [&](const std::vector<RpmPoint>& part) { out.rpm(part); });
  pieces(run.trace.lamps, [&](const std::vector<LampEvent>& part) { out.lamps(part); });
  out.journal(press_line(from_seconds(1.5), "press-1"));
  pieces(run.trace.reaches, [&](const std::vector<Reach>& part) { out.reaches(part); });
  out.finish(run.record, run.trace);
}

// The record with the identity that its report was given.
RunRecord issued(RunRecord record, const StoredRun& stored) {
  record.report_id = stored.record.report_id;
  record.issued = stored.record.issued;
  record.evidence_files = stored.record.evidence_files;
  return record;
}

drumlin::Run small_run() {
  drumlin::Run run = drumlin::small();
  run.record.inputs.clear();
  return run;
}

void write_small_run(const std::filesystem::path& folder) {
  const drumlin::Run run = small_run();
  RunRecord begun = run.record;
  begun.result = {};
  RunFolder out = RunFolder::create(folder, begun, run_pages);
  out.finish(run.record, run.trace);
}

TEST(RunFolder, SaysUndecidedFromTheFirstMoment) {
  const TemporaryFolder temporary;
  RunRecord begun = drumlin::begun();
  begun.result.verdict = Verdict::pass;  // whatever the caller says
  begun.result.complete = true;
  const RunFolder folder = RunFolder::create(temporary.path() / "deep" / "run", begun, run_pages);
  const json result = json::parse(read_file(folder.path() / "result.json"));
  EXPECT_EQ(result["verdict"], "undecided");
  EXPECT_EQ(result["complete"], false);
  EXPECT_THAT(read_file(folder.path() / "report.html"), HasSubstr("<strong>UNDECIDED</strong>"));
  EXPECT_THAT(read_file(folder.path() / "junit.xml"), HasSubstr("<error "));
  EXPECT_THAT(read_file(folder.path() / "journal.jsonl"),
              StartsWith("{\"kind\":\"begin\",\"run\":{\"format\":1,"));

  const StoredRun stored = load_run(folder.path());
  EXPECT_EQ(stored.record.result.verdict, Verdict::undecided);
  EXPECT_EQ(stored.record.unit_serial, "DR-0117");
  EXPECT_THAT(stored.record.result.notes,
              Contains("The run did not get to its end: its journal stops without a last line."));
}

TEST(RunFolder, RefusesAFolderThatIsNotEmpty) {
  const TemporaryFolder temporary;
  write_file(temporary.path() / "something", "");
  EXPECT_EQ(error_of([&] { RunFolder::create(temporary.path(), {}, run_pages); }),
            temporary.path().string() + " is not empty; a run writes only into a folder of its own");
  EXPECT_EQ(error_of([&] { RunFolder::create(temporary.path() / "something", {}, run_pages); }),
            "cannot make " + (temporary.path() / "something").string() + ": Not a directory");
  EXPECT_EQ(std::distance(std::filesystem::directory_iterator(temporary.path()), {}), 1);
}

TEST(RunFolder, TakesAFolderThatIsThereAndEmpty) {
  const TemporaryFolder temporary;
  EXPECT_EQ(RunFolder::create(temporary.path(), {}, run_pages).path(), temporary.path());
}

// SHA-256 of "abc": FIPS 180-4, example in NIST's SHA256.pdf.
TEST(RunFolder, KeepsInputsWithTheirSha256) {
  const TemporaryFolder temporary;
  write_file(temporary.path() / "my gauge.yaml", "abc");
  RunFolder folder = RunFolder::create(temporary.path() / "run", {}, run_pages);
  EXPECT_EQ(folder.keep_input(temporary.path() / "my gauge.yaml", "gauge.yaml"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(read_file(folder.path() / "gauge.yaml"), "abc");
  EXPECT_EQ(error_of([&] { folder.keep_input(temporary.path() / "none", "rig.yaml"); }),
            "cannot copy " + (temporary.path() / "none").string() + " to " +
                (folder.path() / "rig.yaml").string() + ": No such file or directory");
}

TEST(RunFolder, TimelineHasOneColumnAChannelAndARowAChange) {
  const TemporaryFolder temporary;
  RunFolder folder = RunFolder::create(temporary.path() / "run", drumlin::begun(), run_pages);
  folder.lamps({{0, 0}, {1'234'567'890, 1}});
  folder.lamps({{1'300'000'000, 1}, {12'000'000'001, 0b1100000}});
  EXPECT_EQ(read_file(folder.path() / "timeline.csv"),
            "time_s,left.white,left.blue,mid.blue,mid.magenta,right.white,right.magenta,top.magenta\n"
            "0.000000000,0,0,0,0,0,0,0\n"
            "1.234567890,1,0,0,0,0,0,0\n"
            "12.000000001,0,0,0,0,0,1,1\n");
}

TEST(RunFolder, JournalTellsWhatRanAndHowItEnded) {
  const TemporaryFolder temporary;
  write_run(temporary.path() / "run", drumlin::failing());
  std::istringstream lines(read_file(temporary.path() / "run" / "journal.jsonl"));
  std::vector<json> all;
  for (std::string line; std::getline(lines, line);) all.push_back(json::parse(line));
  EXPECT_EQ(all.front()["kind"], "begin");
  EXPECT_EQ(all.front()["run"]["scenario"]["name"], "acceptance");
  EXPECT_EQ(all.back()["kind"], "end");
  EXPECT_EQ(all.back()["verdict"], "fail");
  EXPECT_THAT(all, Contains(json({{"kind", "press"}, {"at_s", 1.5}, {"action", "press-1"}})));
}

TEST(StoredRun, GivesTheSameReportsByteForByte) {
  for (const drumlin::Run& run : {drumlin::passing(), drumlin::failing(), drumlin::undecided()}) {
    const TemporaryFolder temporary;
    const std::filesystem::path folder = temporary.path() / "run";
    write_run(folder, run);
    const StoredRun stored = load_run(folder);
    EXPECT_EQ(read_file(folder / "report.html"), report_html(issued(run.record, stored), run.trace));
    EXPECT_EQ(stored.record.result.verdict, run.record.result.verdict);
    EXPECT_EQ(stored.record.result.complete, run.record.result.complete);
    EXPECT_EQ(report_html(stored.record, stored.trace), read_file(folder / "report.html"));
    EXPECT_EQ(junit_xml(stored.record), read_file(folder / "junit.xml"));
    EXPECT_EQ(result_json(stored.record), read_file(folder / "result.json"));
    EXPECT_EQ(verdict_text(stored.record, 80, false), verdict_text(run.record, 80, false));
  }
}

TEST(StoredRun, HasAReportOfItsOwn) {
  const TemporaryFolder temporary;
  write_run(temporary.path() / "a", drumlin::passing());
  write_run(temporary.path() / "b", drumlin::passing());
  const RunRecord a = load_run(temporary.path() / "a").record;
  const RunRecord b = load_run(temporary.path() / "b").record;
  EXPECT_THAT(a.report_id, testing::MatchesRegex("TP-20310314-[0-9a-f]{12}"));
  EXPECT_NE(a.report_id, b.report_id) << "the same run twice is two reports";
  ASSERT_EQ(a.evidence_files.size(), 1U);  // no capture: no pulses were played
  EXPECT_EQ(a.evidence_files[0].sha256, sha256_of_file(temporary.path() / "a" / "timeline.csv"));
}

TEST(StoredRun, DrawsNoMoreThanTheRunDid) {
  const TemporaryFolder temporary;
  drumlin::Run run = drumlin::passing();
  RunFolder out = RunFolder::create(temporary.path() / "run", drumlin::begun(), run_pages);
  out.rpm(run.trace.rpm);
  out.lamps(run.trace.lamps);
  out.reaches(run.trace.reaches);
  run.trace.rpm.resize(3);
  run.trace.lamps.resize(5);
  run.trace.reaches.resize(7);
  run.trace.thinned = true;
  out.finish(run.record, run.trace);
  const StoredRun stored = load_run(out.path());
  EXPECT_EQ(stored.record.result.verdict, Verdict::pass);
  EXPECT_TRUE(stored.trace.thinned);
  EXPECT_EQ(stored.trace.lamps, run.trace.lamps);
  EXPECT_EQ(report_html(stored.record, stored.trace), report_html(issued(run.record, stored), run.trace));
}

TEST(StoredRun, KeepsAnyTextAndNumber) {
  const TemporaryFolder temporary;
  drumlin::Run run = drumlin::failing();
  std::string every_byte;
  for (int c = 0; c < 256; ++c) every_byte += static_cast<char>(c);
  run.record.gauge_name = "<b>&\"" + every_byte;
  run.record.gauge.lamps[0].id = "a,b\n;\"" + every_byte;
  run.record.result.findings[0].message = every_byte;
  run.record.result.transitions[0].observed_rpm = std::numeric_limits<double>::infinity();
  run.trace.rpm[3].rpm = not_measured;
  RunFolder out = RunFolder::create(temporary.path() / "run", run.record, run_pages);
  out.finish(run.record, run.trace);
  const StoredRun stored = load_run(out.path());
  EXPECT_TRUE(stored.record.result.complete);
  EXPECT_EQ(report_html(stored.record, stored.trace), report_html(issued(run.record, stored), run.trace));
}

TEST(StoredRun, IsRefusedWhereThereIsNone) {
  const TemporaryFolder temporary;
  const std::string sentence = " is not a run folder: it has neither result.json nor journal.jsonl";
  EXPECT_EQ(error_of([&] { load_run(temporary.path()); }), temporary.path().string() + sentence);
  EXPECT_EQ(error_of([&] { load_run("/none/such"); }), "/none/such" + sentence);
}

// ---- damage ------------------------------------------------------------------

void expect_no_pass(const std::filesystem::path& folder, const std::string& what) {
  const StoredRun stored = load_run(folder);
  EXPECT_NE(stored.record.result.verdict, Verdict::pass) << what;
  EXPECT_FALSE(stored.record.result.complete) << what;
  EXPECT_FALSE(stored.record.result.notes.empty()) << what;
}

TEST(StoredRun, IsNoPassWithAFileCutAtAnyByte) {
  const TemporaryFolder temporary;
  const std::filesystem::path folder = temporary.path() / "run";
  write_small_run(folder);
  ASSERT_EQ(load_run(folder).record.result.verdict, Verdict::pass);
  for (const char* name : {"result.json", "journal.jsonl", "timeline.csv"}) {
    const std::string whole = read_file(folder / name);
    for (std::size_t size = whole.size(); size-- > 0;) {
      std::filesystem::resize_file(folder / name, size);
      expect_no_pass(folder, std::string(name) + " cut to " + std::to_string(size));
    }
    std::filesystem::remove(folder / name);
    expect_no_pass(folder, std::string(name) + " removed");
    write_file(folder / name, whole);
  }
  EXPECT_EQ(load_run(folder).record.result.verdict, Verdict::pass);
}

TEST(StoredRun, IsNoPassWithABitTurnedInItsEvidence) {
  const TemporaryFolder temporary;
  const std::filesystem::path folder = temporary.path() / "run";
  write_small_run(folder);
  for (const char* name : {"result.json", "timeline.csv"}) {
    const std::string whole = read_file(folder / name);
    std::fstream file(folder / name, std::ios::in | std::ios::out | std::ios::binary);
    const auto put = [&](std::size_t at, char c) {
      file.seekp(static_cast<std::streamoff>(at));
      file.put(c).flush();
    };
    for (std::size_t at = 0; at < whole.size(); ++at) {
      put(at, static_cast<char>(whole[at] ^ (1 << at % 8)));
      expect_no_pass(folder, std::string(name) + " changed at " + std::to_string(at));
      put(at, whole[at]);
    }
  }
  EXPECT_EQ(load_run(folder).record.result.verdict, Verdict::pass);
}

TEST(StoredRun, SaysWhatIsNotAsItWas) {
  const TemporaryFolder temporary;
  const std::filesystem::path folder = temporary.path() / "run";
  write_small_run(folder);
  const std::string result = read_file(folder / "result.json");
  write_file(folder / "result.json", result.substr(0, 200));
  EXPECT_THAT(
      load_run(folder).record.result.notes,
      testing::ElementsAre("result.json does not count: it is cut short, or not what this program writes."));
  EXPECT_EQ(load_run(folder).record.unit_serial, "DR-0117") << "the journal knows";
  write_file(folder / "result.json", result + " ");
  EXPECT_THAT(load_run(folder).record.result.notes,
              testing::ElementsAre("result.json is not as the run left it, so its verdict does not count."));
  write_file(folder / "result.json", result);
  write_file(folder / "timeline.csv", "");
  EXPECT_THAT(load_run(folder).record.result.notes,
              testing::ElementsAre("timeline.csv is not as the run left it."));
}

TEST(StoredRun, IsNoPassWithAnInputThatWasChangedSince) {
  const TemporaryFolder temporary;
  drumlin::Run run = small_run();
  write_file(temporary.path() / "gauge.yaml", "abc");
  RunFolder out = RunFolder::create(temporary.path() / "run", run.record, run_pages);
  run.record.inputs = {{"gauge.yaml", out.keep_input(temporary.path() / "gauge.yaml", "gauge.yaml")}};
  out.finish(run.record, run.trace);
  EXPECT_EQ(load_run(out.path()).record.result.verdict, Verdict::pass);
  write_file(out.path() / "gauge.yaml", "abd");
  EXPECT_EQ(load_run(out.path()).record.result.verdict, Verdict::undecided);
  EXPECT_THAT(load_run(out.path()).record.result.notes,
              Contains("gauge.yaml is not the file that the run was given."));
}

TEST(StoredRun, ThatIsNotCompleteIsUndecidedWhateverItSays) {
  for (const drumlin::Run& run : {drumlin::passing(), drumlin::failing()}) {
    std::string text = result_json(run.record);
    const std::string complete = "\"complete\": true";
    const std::size_t at = text.find(complete);
    ASSERT_NE(at, std::string::npos);
    text.replace(at, complete.size(), "\"complete\": false");
    EXPECT_EQ(record_from_json(text).result.verdict, Verdict::undecided);
  }
}

TEST(StoredRun, KeepsAFailureWhateverElseIsDamaged) {
  const TemporaryFolder temporary;
  const std::filesystem::path folder = temporary.path() / "run";
  write_run(folder, drumlin::failing());
  write_file(folder / "timeline.csv", "");
  EXPECT_EQ(load_run(folder).record.result.verdict, Verdict::fail);
  EXPECT_FALSE(load_run(folder).record.result.complete);
}

// ---- killed at any instant ------------------------------------------------------

// The writer, in a process of its own, killed after `wait`. Says whether it
// had ended by itself.
bool killed_writer(const std::filesystem::path& folder, std::chrono::microseconds wait) {
  const pid_t writer = ::fork();
  if (writer == 0) {
    write_run(folder, drumlin::passing());
    ::_exit(0);
  }
  std::this_thread::sleep_for(wait);
  ::kill(writer, SIGKILL);
  int status = 0;
  ::waitpid(writer, &status, 0);
  return WIFEXITED(status);
}

TEST(RunFolder, KilledAtAnyInstantLeavesNoPass) {
  const TemporaryFolder temporary;
  const auto begin = std::chrono::steady_clock::now();
  write_run(temporary.path() / "whole", drumlin::passing());
  const auto whole =
      std::chrono::duration_cast<std::chrono::microseconds>(std::chrono::steady_clock::now() - begin);
  std::set<std::string> left_behind;  // which files there were: how far the writers got
  for (unsigned seed = 0; seed < 80; ++seed) {
    std::mt19937 random(seed);
    const std::filesystem::path folder = temporary.path() / std::to_string(seed);
    const std::chrono::microseconds wait(std::uniform_int_distribution<long>(0, 2 * whole.count())(random));
    const bool ended = killed_writer(folder, wait);
    std::error_code ignored;
    const bool begun = std::filesystem::exists(folder / "journal.jsonl", ignored);
    left_behind.insert(!begun ? "nothing" : ended ? "all" : "part");
    if (!begun) {
      EXPECT_THAT(error_of([&] { load_run(folder); }), HasSubstr("is not a run folder"));
      continue;
    }
    const StoredRun stored = load_run(folder);
    if (ended || stored.record.result.verdict == Verdict::pass) {
      // The last step is the rename: a pass has everything behind it.
      EXPECT_EQ(result_json(stored.record), result_json(issued(drumlin::passing().record, stored)));
      EXPECT_EQ(read_file(folder / "report.html"), report_html(stored.record, stored.trace));
    } else {
      EXPECT_EQ(stored.record.result.verdict, Verdict::undecided);
      EXPECT_FALSE(stored.record.result.complete);
      EXPECT_FALSE(stored.record.result.notes.empty());
    }
    std::filesystem::remove_all(folder);
  }
  EXPECT_THAT(left_behind, Contains("part")) << "no writer was killed half-way: the test has shown nothing";
}

}  // namespace
}  // namespace tachproof
