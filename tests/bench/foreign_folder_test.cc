// Folders and files that somebody else has made: what is opened, and how much of it is read.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <filesystem>
#include <fstream>

#include "bench/files/files.h"
#include "bench/files/own_files.h"
#include "bench/files/regular_file.h"
#include "bench/formats/recording.h"
#include "bench/formats/tach_edges.h"
#include "bench/record/disk.h"
#include "bench/record/folder_format.h"
#include "bench/record/json_values.h"
#include "bench/record/result_json.h"
#include "bench/reports/comparison_report.h"
#include "bench/run/suite.h"
#include "tests/bench/drumlin_run.h"
#include "tests/bench/error_of.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using testing::StartsWith;

std::string repeated(const std::string& text, int times) {
  std::string all;
  for (int i = 0; i < times; ++i) all += text;
  return all;
}

class ForeignFolder : public testing::Test {
 protected:
  std::string pipe(const std::string& name) const {
    EXPECT_EQ(::mkfifo((scratch / name).c_str(), 0600), 0);
    return (scratch / name).string();
  }
  std::string hole(const std::string& name, std::uintmax_t size) const {
    scratch.write(name, "x\n");
    fs::resize_file(scratch / name, size);
    return (scratch / name).string();
  }
  ScratchFolder scratch;
};

TEST_F(ForeignFolder, OnlyARegularFileIsRead) {
  const std::string fifo = pipe("fifo");
  EXPECT_EQ(error_of([&] { whole_file(fifo); }), "cannot read " + fifo + ": it is a pipe");
  EXPECT_EQ(error_of([&] { sha256_of_file(fifo); }), "cannot read " + fifo + ": it is a pipe");
  EXPECT_EQ(error_of([] { sha256_of_file("/dev/zero"); }), "cannot read /dev/zero: it is a device");
  EXPECT_EQ(error_of([&] { whole_file(scratch.path()); }),
            "cannot read " + scratch.path().string() + ": it is a folder");
  EXPECT_EQ(error_of([&] { whole_file(scratch / "none"); }),
            "cannot read " + (scratch / "none").string() + ": No such file or directory");
  EXPECT_EQ(error_of([&] { open_recording(fifo, {}); }), fifo + ": it is a pipe");
  EXPECT_EQ(error_of([&] { read_tach_edges(fifo, "tach", true); }), fifo + ": it is a pipe");
}

TEST_F(ForeignFolder, AFileThatIsMostlyAHoleIsNotRead) {
  const std::string file = hole("timeline.csv", std::uintmax_t{6} << 30);
  EXPECT_THAT(error_of([&] { sha256_of_file(file); }),
              StartsWith("cannot read " + file + ": it says that it has 6442450944 bytes, but only "));
  EXPECT_THAT(error_of([&] { read_timeline(file, 2, 100); }), HasSubstr("the rest is a hole"));
}

TEST_F(ForeignFolder, AFileIsReadNoFurtherThanItMayBeLong) {
  const std::string file = hole("result.json", most_whole_file + 1);
  EXPECT_THAT(error_of([&] { whole_file(file); }),
              HasSubstr("more than the 256 MB that such a file may have"));
}

TEST_F(ForeignFolder, ALinkIsNamedAndNothingIsRead) {
  scratch.write("gauge.yaml", "");
  EXPECT_EQ(error_of([&] { require_plain_entries(scratch.path()); }), "none");
  fs::create_symlink("/etc/passwd", scratch / "timeline.csv");
  EXPECT_EQ(
      error_of([&] { require_plain_entries(scratch.path()); }),
      (scratch / "timeline.csv").string() +
          " is a symbolic link: the folder of a run or a suite holds only files of its own, so nothing in "
          "it is read; take it away, or put the file itself in its place");
  scratch.write("result.json", "{}");
  EXPECT_THAT(error_of([&] { load_run(scratch.path()); }), HasSubstr("is a symbolic link"));
}

TEST_F(ForeignFolder, AJournalThatIsNestedDeepIsPassedOver) {
  const std::string deep = repeated("[", 80'000) + repeated("]", 80'000);
  scratch.write("journal.jsonl", "{\"kind\":\"begin\",\"run\":" + deep + "}\n{\"kind\":\"rpm\",\"at_ns\":" +
                                     deep + "}\n{\"kind\":\"rpm\",\"at_ns\":[5],\"rpm\":[3000]}\n");
  const Journal journal = read_journal(scratch / "journal.jsonl", 100);
  EXPECT_FALSE(journal.begun);
  ASSERT_EQ(journal.rpm.size(), 1u);
  EXPECT_EQ(journal.rpm[0].at, 5);
  EXPECT_EQ(error_of([&] { record_from_json(deep); }), "it is nested more than 64 deep");
  EXPECT_EQ(error_of([&] { suite_from_json(deep); }), "it is nested more than 64 deep");
}

TEST_F(ForeignFolder, InstantsThatGoBackAreNotDrawnAndNotCompared) {
  Json json = Json::parse(result_json(drumlin::passing().record));
  scratch.write("result.json", json.dump());
  scratch.write("journal.jsonl",
                "{\"kind\":\"begin\"}\n{\"kind\":\"reaches\",\"from_ns\":[5,-900000000000000000],"
                "\"lowest\":[1,1],\"highest\":[1,1]}\n");
  const StoredRun run = load_run(scratch.path());
  EXPECT_TRUE(run.trace.reaches.empty());
  EXPECT_THAT(run.record.result.notes,
              testing::Contains("journal.jsonl tells instants that go back in time."));

  scratch.write("timeline.csv", "time_s,a\n1.000000000,1\n2.000000000,0\n1.500000000,1\n3.000000000,0\n");
  EXPECT_EQ(read_timeline(scratch / "timeline.csv", 1, 100).events.size(), 2u);
}

TEST_F(ForeignFolder, AGaugeThatBlinksOnceInTheAgeOfTheWorldIsNone) {
  Json json = Json::parse(result_json(drumlin::passing().record));
  json["gauge"]["settings"]["blink"]["hz"] = 1e-300;
  EXPECT_EQ(error_of([&] { record_from_json(json.dump()); }),
            "blink of the gauge has 1e-300 Hz; at least 0.001");
}

TEST_F(ForeignFolder, ARunWithoutReadableSettingsIsNotCompared) {
  StoredRun sound;
  sound.record = drumlin::passing().record;
  fs::create_directory(scratch / "cut");
  scratch.write("cut/result.json", "{\"format\": 1, ");
  const StoredRun cut = load_run(scratch / "cut");
  const char* const why =
      "cut has no settings that could be compared. result.json does not count: it is cut short, or not what "
      "this program writes.";
  EXPECT_EQ(error_of([&] { comparison_of("sound", sound, "cut", cut); }), why);
  EXPECT_EQ(error_of([&] { comparison_of("cut", cut, "sound", sound); }), why);
}

TEST_F(ForeignFolder, FloatsAreNoWholeNumbers) {
  scratch.write("journal.jsonl",
                "{\"kind\":\"begin\"}\n{\"kind\":\"rpm\",\"at_ns\":[1e300],\"rpm\":[1]}\n"
                "{\"kind\":\"reaches\",\"from_ns\":[0],\"lowest\":[-1],\"highest\":[2]}\n"
                "{\"kind\":\"reaches\",\"from_ns\":[0],\"lowest\":[1],\"highest\":[2]}\n");
  const Journal journal = read_journal(scratch / "journal.jsonl", 100);
  EXPECT_TRUE(journal.rpm.empty());
  EXPECT_EQ(journal.reaches.size(), 1u);

  Json json = Json::parse(result_json(drumlin::passing().record));
  json["rig"]["source_tick_ns"] = 1e300;
  EXPECT_THAT(error_of([&] { record_from_json(json.dump()); }),
              "source_tick_ns is not a whole number of nanoseconds");
  json["rig"]["source_tick_ns"] = 2.5;
  EXPECT_THAT(error_of([&] { record_from_json(json.dump()); }), StartsWith("source_tick_ns is not a whole"));
}

TEST_F(ForeignFolder, AResultNamesFilesOfItsOwnFolderOnly) {
  Json json = Json::parse(result_json(drumlin::passing().record));
  json["inputs"][0]["file"] = "../../etc/\x1bpasswd";
  EXPECT_EQ(error_of([&] { record_from_json(json.dump()); }),
            "it names the file ../../etc/\\x1bpasswd, which is not of its folder");
}

TEST_F(ForeignFolder, AScenarioOfAFolderNamesNoRecordingElsewhere) {
  const std::string scenario = scratch.write(
      "scenario.yaml",
      "format: 1\nkind: scenario\nname: a\nseed: 1\nprofile: [{hold: 100, for: 1s}]\nnoise: {recording: "
      "/dev/zero}\n");
  EXPECT_EQ(error_of([&] { load_kept_scenario(scenario); }),
            scenario +
                ":6:20: '/dev/zero': no edges-1.csv in the run folder, which is what the run kept of it; a "
                "whole run "
                "folder");
}

SuiteRecord one_pair() {
  SuiteRecord suite;
  suite.tool_version = "0.1.0";
  suite.here = {1};
  suite.pairs.resize(1);
  suite.pairs[0].gauge = "kame";
  suite.pairs[0].scenario = "lane";
  suite.pairs[0].attempts.resize(1);
  suite.pairs[0].attempts[0].folder = "kame/lane";
  return suite;
}

TEST_F(ForeignFolder, ASuiteHasNoMoreShardsThanPairsAndNoFolderElsewhere) {
  const std::string sound = suite_json(one_pair());
  EXPECT_EQ(error_of([&] { suite_from_json(sound); }), "none");
  const auto trouble = [&](const auto& change) {
    Json json = Json::parse(sound);
    change(json);
    return error_of([&] { suite_from_json(json.dump()); });
  };
  EXPECT_EQ(trouble([](Json& json) { json["shards"]["of"] = 2e9; }), "of is not a count");
  EXPECT_EQ(trouble([](Json& json) { json["shards"]["of"] = 2'000'000'000; }),
            "it says that it is one of 2000000000 shards of 1 pairs");
  EXPECT_EQ(trouble([](Json& json) { json["shards"]["of"] = 40'000; }),
            "it says that it is one of 40000 shards of 1 pairs");
  EXPECT_EQ(trouble([](Json& json) { json["pairs"][0]["attempts"][0]["folder"] = "../good"; }),
            "it names the folder ../good, which is not below it");
  EXPECT_EQ(trouble([](Json& json) { json["pairs"][0]["attempts"][0]["folder"] = "/runs/good"; }),
            "it names the folder /runs/good, which is not below it");
  EXPECT_EQ(trouble([](Json& json) { json["pairs"][0]["gauge"] = "../other"; }),
            "it names the file ../other, which is not of its folder");
}

TEST_F(ForeignFolder, ALineWithoutEndIsPassedOver) {
  scratch.write("a", "one\n" + std::string(100'000, 'x') + "\ntwo\nthree");
  FileLines lines(RegularFile(scratch / "a"), 1000);
  std::string line;
  using Got = FileLines::Got;
  EXPECT_EQ(lines.next(line), Got::line);
  EXPECT_EQ(line, "one");
  EXPECT_EQ(lines.next(line), Got::too_long);
  EXPECT_EQ(lines.next(line), Got::line);
  EXPECT_EQ(line, "two");
  EXPECT_EQ(lines.next(line), Got::unended);
  EXPECT_EQ(line, "three");
  EXPECT_EQ(lines.next(line), Got::end);
}

TEST_F(ForeignFolder, AnEdgeFileIsQuotedAsWhatItIs) {
  scratch.write("edges.csv", "0.1\n0.2\n\x1b]0;x\x07\xC2\x9B\n");
  EXPECT_EQ(
      error_of([&] { read_tach_edges(scratch / "edges.csv", "tach", true); }),
      (scratch / "edges.csv").string() + ":3: '\\x1b]0;x\\x07\\xc2\\x9b'; the time of an edge in seconds");
}

TEST_F(ForeignFolder, ChannelsOfARecordingAreListedAsWhatTheyAre) {
  const std::string file = scratch.write("a.csv",
                                         "time,\xC2\x9B"
                                         "31m\xE2\x80\xAE\n0,1\n1,0\n");
  EXPECT_EQ(error_of([&] { open_recording(file, {"tach"}); }),
            file + ": no channel 'tach' in it; there are: \\u009b31m\\u202e");
}

TEST_F(ForeignFolder, AReplacementFollowsNoLinkAndReplacesNoDevice) {
  scratch.write("victim", "precious");
  fs::create_symlink(scratch / "victim", scratch / ".page.html.part");
  Replacement(scratch / "page.html", "new").move_into_place();
  EXPECT_EQ(whole_file(scratch / "page.html"), "new");
  EXPECT_EQ(whole_file(scratch / "victim"), "precious");

  fs::create_symlink(scratch / "victim", scratch / "link.html");
  EXPECT_EQ(error_of([&] { Replacement(scratch / "link.html", "new"); }),
            "cannot replace " + (scratch / "link.html").string() + ": it is a symbolic link");
  EXPECT_EQ(error_of([] { Replacement("/dev/null", "new"); }), "cannot replace /dev/null: it is a device");
  pipe("fifo.html");
  EXPECT_EQ(error_of([&] { Replacement(scratch / "fifo.html", "new"); }),
            "cannot replace " + (scratch / "fifo.html").string() + ": it is a pipe");
}

}  // namespace
}  // namespace tachproof
