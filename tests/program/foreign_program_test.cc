// The program before folders and files that somebody else has made, and before places where an output
// would cost something.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <filesystem>
#include <nlohmann/json.hpp>

#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "tests/bench/scratch_folder.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;
using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

class ForeignProgram : public testing::Test {
 protected:
  void SetUp() override {
    scratch.write("gauge.yaml", files::gauge);
    scratch.write("scenario.yaml", files::scenario);
    scratch.write("rig.yaml", files::rig);
    fs::create_directory(scratch / "tmp");
  }
  Finished tachproof(const std::string& words) {
    return run_process(
        command_line(words), scratch.path(),
        {{"TMPDIR", (scratch / "tmp").string()}, {"TACHPROOF_HISTORY", (scratch / "h.db").string()}});
  }
  void run(const std::string& out) {
    ASSERT_EQ(tachproof("run scenario.yaml --gauge gauge.yaml --rig rig.yaml --out " + out).status, 0);
  }
  std::string text(const std::string& name) { return whole_file(scratch / name); }

  ScratchFolder scratch;
};

TEST_F(ForeignProgram, WhatIsNoFileOfTheFolderIsNamedAndNotOpened) {
  run("run");
  const auto refused = [&](const std::string& name, const std::string& why) {
    for (const char* words : {"report run", "report run --verify", "history --add run", "compare run run"}) {
      const Finished end = tachproof(words);
      EXPECT_EQ(end.status, 2) << words;
      EXPECT_THAT(end.err, AllOf(HasSubstr("run/" + name), HasSubstr(why))) << words;
    }
  };
  fs::rename(scratch / "run/timeline.csv", scratch / "moved.csv");
  fs::create_symlink("../moved.csv", scratch / "run/timeline.csv");
  refused("timeline.csv", "is a symbolic link");
  fs::remove(scratch / "run/timeline.csv");
  ASSERT_EQ(::mkfifo((scratch / "run/timeline.csv").c_str(), 0600), 0);
  refused("timeline.csv", "is a pipe");
  fs::remove(scratch / "run/timeline.csv");
  fs::create_directory(scratch / "run/timeline.csv");
  const Finished folder = tachproof("report run");
  EXPECT_EQ(folder.status, 2);
  EXPECT_THAT(folder.err, HasSubstr("run/timeline.csv: it is a folder"));
}

TEST_F(ForeignProgram, ALinkInTheFolderOfASuiteIsNamedAndNotFollowed) {
  fs::create_directory(scratch / "scenarios");
  scratch.write("scenarios/slow.yaml", files::scenario);
  ASSERT_EQ(tachproof("run scenarios --gauge gauge.yaml --rig rig.yaml --out suite").status, 0);
  ASSERT_EQ(tachproof("report suite --verify").status, 0);
  const auto refused = [&](const std::string& words, const std::string& name) {
    const Finished end = tachproof(words);
    EXPECT_EQ(end.status, 2) << words;
    EXPECT_THAT(end.err, HasSubstr(name + " is a symbolic link")) << words;
  };
  const fs::path timeline = scratch / "suite/gauge/slow/timeline.csv";
  fs::rename(timeline, scratch / "moved.csv");
  fs::create_symlink(scratch / "moved.csv", timeline);
  refused("report suite --verify", "suite/gauge/slow/timeline.csv");
  fs::remove(timeline);
  fs::rename(scratch / "moved.csv", timeline);
  for (const std::string folder : {"suite/gauge/slow", "suite/gauge"}) {
    fs::rename(scratch / folder, scratch / "moved");
    fs::create_directory_symlink(scratch / "moved", scratch / folder);
    refused("report suite", folder);
    refused("report suite --verify", folder);
    fs::remove(scratch / folder);
    fs::rename(scratch / "moved", scratch / folder);
  }
}

// As a forger would who knows the program: the sums are right.
TEST_F(ForeignProgram, AScenarioOfAWeekDoesNotFillTheTemporaryFolder) {
  run("run");
  scratch.write(
      "run/scenario.yaml",
      "format: 1\nkind: scenario\nname: up and down\nseed: 7\nprofile: [{hold: 20000, for: 168h}]\n");
  std::string gauge = files::gauge;
  scratch.write("run/gauge.yaml", files::replaced(gauge, "pulses_per_rev: 2", "pulses_per_rev: 60"));
  std::vector<std::string> names;
  for (const FileSum& sum : parse_checksums(text("run/SHA256SUMS"))) names.push_back(sum.file);
  scratch.write("run/SHA256SUMS", checksums_text(sums_of(scratch / "run", names)));
  const Finished end = tachproof("report run --verify");
  EXPECT_EQ(end.status, 1);
  EXPECT_THAT(end.out, HasSubstr("make more pulses"));
  EXPECT_TRUE(fs::is_empty(scratch / "tmp"));
}

TEST_F(ForeignProgram, ATemporaryFolderThatCannotBeUsedIsSaid) {
  run("run");
  fs::remove(scratch / "tmp");
  const Finished end = tachproof("report run --verify");
  EXPECT_EQ(end.status, 2);
  EXPECT_THAT(end.err, AllOf(HasSubstr("cannot make a folder in " + (scratch / "tmp").string()),
                             HasSubstr("set TMPDIR to a folder")));
}

TEST_F(ForeignProgram, WordsOfAResultAreShownAsWhatTheyAre) {
  run("run");
  nlohmann::ordered_json json = nlohmann::ordered_json::parse(text("run/result.json"));
  json["unit"]["serial"] =
      "\x1b]0;x\x07\xC2\x9B"
      "31m\xE2\x80\xAE";
  json["notes"].push_back("\x1b[2J\xE2\x81\xA6");
  scratch.write("run/result.json", json.dump());
  for (const char* words :
       {"report run", "report run --json", "report run --verify", "report run --verify --json"}) {
    const Finished end = tachproof(words);
    for (const char* evil : {"\x1b", "\x07", "\xC2\x9B", "\xE2\x80\xAE", "\xE2\x81\xA6"})
      EXPECT_THAT(end.out + end.err, Not(HasSubstr(evil))) << words;
  }
  EXPECT_THAT(tachproof("report run").out, HasSubstr("\\x1b[2J\\u2066"));
  EXPECT_THAT(tachproof("report run --json").out, HasSubstr("\\u001b]0;x\\u0007\\u009b31m\\u202e"));
  tachproof("report run --html page.html");
  EXPECT_THAT(text("page.html"),
              AllOf(HasSubstr("\\x1b[2J"), Not(HasSubstr("\x1b")), Not(HasSubstr("\xE2\x80\xAE"))));
}

TEST_F(ForeignProgram, AnOutputNeverReplacesEvidence) {
  run("run");
  const std::string before = text("run/report.html");
  for (const char* words : {"report run --html run/report.html", "report run --html run/new.html",
                            "compare run run --html run/report.html",
                            "compare run run --junit run/result.json", "history --html run/report.html"}) {
    const Finished end = tachproof(words);
    EXPECT_EQ(end.status, 2) << words;
    EXPECT_THAT(end.err, AllOf(HasSubstr("lies in"), HasSubstr("whose run stays as it was left"))) << words;
  }
  EXPECT_EQ(text("run/report.html"), before);
  EXPECT_FALSE(fs::exists(scratch / "run/new.html"));
  EXPECT_EQ(tachproof("report run --verify").status, 0);
}

TEST_F(ForeignProgram, AnOutputNeverReplacesTheHistoryOrWhatIsNoFile) {
  run("run");
  const std::string database = text("h.db");
  Finished end = tachproof("report run --html h.db");
  EXPECT_EQ(end.status, 2);
  EXPECT_THAT(end.err, HasSubstr("h.db is a database, such as the history is, and is never replaced"));
  EXPECT_EQ(text("h.db"), database);

  EXPECT_THAT(tachproof("report run --html /dev/null").err, HasSubstr("/dev/null is a device"));
  EXPECT_TRUE(fs::is_character_file("/dev/null"));
  scratch.write("victim", "precious");
  fs::create_symlink("victim", scratch / "link.html");
  EXPECT_THAT(tachproof("report run --html link.html").err, HasSubstr("link.html is a symbolic link"));
  fs::create_symlink("victim", scratch / ".page.html.part");
  EXPECT_EQ(tachproof("report run --html page.html").status, 0);
  EXPECT_EQ(text("victim"), "precious");
  EXPECT_THAT(tachproof("report run --html tmp").err, HasSubstr("tmp is a folder; name a file to write"));
}

TEST_F(ForeignProgram, TheHistoryTakesNoResultThatCannotBeRead) {
  run("run");
  scratch.write("run/result.json", "garbage");
  const Finished end = tachproof("history --add run");
  EXPECT_EQ(end.status, 2);
  EXPECT_EQ(
      end.err,
      "tachproof history: run/result.json does not count, so the run is not added: it is cut short, or not "
      "what this program writes\n");
}

}  // namespace
}  // namespace tachproof
