// What loggers write, and what of it is replayed.
#include "bench/files/rpm_log.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>

#include "bench/files/named_files.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;

LogAsk t_and_n() {
  LogAsk ask;
  ask.time = "t";
  ask.rpm = "n";
  return ask;
}

RpmLog sound(const std::string& text, const LogAsk& ask = t_and_n()) {
  auto log = read_rpm_log(text, ask);
  if (const auto* trouble = std::get_if<LogTrouble>(&log)) {
    ADD_FAILURE() << trouble->found << "; " << trouble->allowed;
    return {};
  }
  return std::get<RpmLog>(std::move(log));
}

std::string trouble(const std::string& text, const LogAsk& ask = t_and_n()) {
  auto log = read_rpm_log(text, ask);
  const auto* found = std::get_if<LogTrouble>(&log);
  return found != nullptr ? found->found + "; " + found->allowed : "none";
}

std::vector<double> rpm_of(const RpmLog& log) {
  std::vector<double> all;
  for (const auto& sample : *log.step.samples) all.push_back(sample.rpm);
  return all;
}
std::vector<Nanos> ms_of(const RpmLog& log) {
  std::vector<Nanos> all;
  for (const auto& sample : *log.step.samples) all.push_back(sample.at / ns_per_ms);
  return all;
}

TEST(RpmLog, TakesItsColumnsByName) {
  const RpmLog log = sound("throttle,n,t,gear\n10,3000,5.00,2\n11,3010,5.05,2\n12,3020.5,5.10,2\n");
  EXPECT_THAT(rpm_of(log), ElementsAre(3000, 3010, 3020.5));
  EXPECT_THAT(ms_of(log), ElementsAre(0, 50, 100));
  EXPECT_EQ(log.facts.samples, 3u);
  EXPECT_NEAR(log.facts.samples_per_s, 20, 1e-9);
  EXPECT_EQ(log.facts.time_unit, "s");
  EXPECT_EQ(log.facts.unit_by, "nothing says otherwise");
  EXPECT_EQ(log.facts.from_s, 5);
}

TEST(RpmLog, ReadsDecimalCommasBetweenSemicolonsAndTabs) {
  const std::string semicolons = "t;n\n0,00;3000,5\n0,02;3001,5\n";
  std::string tabs = semicolons;
  std::replace(tabs.begin(), tabs.end(), ';', '\t');
  EXPECT_THAT(rpm_of(sound(semicolons)), ElementsAre(3000.5, 3001.5));
  EXPECT_THAT(rpm_of(sound(tabs)), ElementsAre(3000.5, 3001.5));
  EXPECT_THAT(rpm_of(sound("\"t\";\"n\"\r\n\"0,00\";\"3000,5\"\r\n\"0,02\";\"3001,5\"\r\n")),
              ElementsAre(3000.5, 3001.5));
}

TEST(RpmLog, PassesOverWhatStandsAboveTheHeaderAndWordsBelowIt) {
  const RpmLog log = sound(
      "\xEF\xBB\xBFsession,Tarn test\n# a "
      "comment\ndate,2031-03-14\n\nt,n\nms,rpm\n0,3000\n10,3001\n\n20,3002\n");
  EXPECT_THAT(ms_of(log), ElementsAre(0, 10, 20));
  EXPECT_EQ(log.facts.time_unit, "ms");
  EXPECT_EQ(log.facts.unit_by, "the line of units");
}

TEST(RpmLog, TakesTheUnitOfTimeFromTheColumnsNameOrFromWhoAsks) {
  LogAsk named = t_and_n();
  named.time = "Time [ms]";
  EXPECT_THAT(ms_of(sound("Time [ms],n\n0,1000\n20,1000\n", named)), ElementsAre(0, 20));
  LogAsk told = t_and_n();
  told.time_in = "ms";
  EXPECT_THAT(ms_of(sound("t,n\n0,1000\n20,1000\n", told)), ElementsAre(0, 20));
  EXPECT_EQ(sound("t,n\n0,1000\n20,1000\n", told).facts.unit_by, "time_in");
}

TEST(RpmLog, PassesOverRowsWithoutAnRpm) {
  EXPECT_THAT(ms_of(sound("t,n,x\n0,1000,1\n0.01,,2\n0.02,1001,3\n0.03,,4\n0.04,1002,5\n")),
              ElementsAre(0, 20, 40));
}

TEST(RpmLog, IsCutWhereItIsAskedFor) {
  LogAsk ask = t_and_n();
  ask.from_s = 10.03;
  ask.to_s = 10.15;
  const RpmLog log = sound("t,n\n9.9,x\n9.95,1000\n10,1000\n10.1,1100\n10.2,1300\n10.3,99999\n", ask);
  EXPECT_THAT(ms_of(log), ElementsAre(0, 70, 120));
  ASSERT_EQ(log.step.samples->size(), 3u);
  EXPECT_NEAR(log.step.samples->front().rpm, 1030, 1e-9);
  EXPECT_NEAR(log.step.samples->back().rpm, 1200, 1e-9);
}

TEST(RpmLog, SaysWhichLineIsNoSampleOfAnEngine) {
  EXPECT_EQ(trouble("t,n\n0,1000\n0.02,1000\n0.02,1001\n"),
            "line 4: time 0.02 s after 0.02 s; times that rise");
  EXPECT_EQ(trouble("t,n\n0,1000\n0.02,nan\n"), "line 3: rpm 'nan'; a number from 0 to 20000");
  EXPECT_EQ(trouble("t,n\n0,1000\n0.02,-3\n"), "line 3: rpm '-3'; a number from 0 to 20000");
  EXPECT_EQ(trouble("t,n\n0,1000\n0.02,20001\n"), "line 3: rpm '20001'; a number from 0 to 20000");
  EXPECT_EQ(trouble("t,n\n0,1000\nx,1000\n"), "line 3: time 'x'; a number");
  EXPECT_EQ(trouble("t,n,x\n0,1000,1\n0.02,10"),
            "line 3: 2 cells; 3, as the header has; was the file cut off?");
  EXPECT_EQ(
      trouble("t,n\n0,1000\n0.02,1000\n0.04,1000\n0.2,1000\n"),
      "line 5: nothing for 0.16 s before it; at most 0.1 s without a sample (5 sample periods, or 1 s)");
  EXPECT_EQ(trouble("t,n\n0,1000\n0.02,1000\n0.04,7000\n0.06,1000\n"),
            "line 4: from 1000 to 7000 rpm in 20 ms, which is 300000 rpm/s; at most 100000 rpm/s; steepest: "
            "allows more");
  EXPECT_EQ(trouble("t,n\n0,1000\n"), "1 samples; at least two");
}

TEST(RpmLog, BelievesTenToAThousandSamplesASecond) {
  EXPECT_EQ(
      trouble("t,n\n0,1000\n20,1000\n40,1000\n"),
      "0.05 samples a second, with the time in s; 10 to 1000; time_in: s or ms says what the time is in");
  EXPECT_EQ(
      trouble("t,n\n0,1000\n0.0001,1000\n0.0002,1000\n"),
      "1e+04 samples a second, with the time in s; 10 to 1000; time_in: s or ms says what the time is in");
  EXPECT_EQ(trouble("t,n\n0,1000\n0.1,1000\n"), "none");
  EXPECT_EQ(trouble("t,n\n0,1000\n0.001,1000\n"), "none");
}

TEST(RpmLog, SaysWhichColumnsThereAre) {
  EXPECT_EQ(trouble("t,rpm,gear\n0,1000,1\n"), "line 1: no column 'n'; columns are t, rpm, gear");
  LogAsk misspelt = t_and_n();
  misspelt.rpm = "engin";
  EXPECT_EQ(trouble("t,engine\n0,1000\n", misspelt), "line 1: no column 'engin'; did you mean 'engine'?");
  EXPECT_EQ(trouble("t,n,n\n0,1,1\n"), "line 1: two columns are called 'n'; one of each name");
  EXPECT_THAT(trouble("0,1000\n0.02,1000\n"), HasSubstr("no header in its first 100 lines"));
  EXPECT_THAT(trouble(""), HasSubstr("no header in its first 100 lines"));
}

TEST(RpmLog, SaysHowFarItGoes) {
  LogAsk ask = t_and_n();
  ask.from_s = 3;
  EXPECT_EQ(trouble("t,n\n5,1000\n5.1,1000\n", ask),
            "'from' is 3 s, and the log goes from 5 to 5.1 s; a time inside it, by its own clock");
  ask.from_s.reset();
  ask.to_s = 6;
  EXPECT_EQ(trouble("t,n\n5,1000\n5.1,1000\n", ask),
            "'to' is 6 s, and the log goes from 5 to 5.1 s; a time inside it, by its own clock");
}

// Any profile that was sampled comes back as its samples.
RC_GTEST_PROP(RpmLog, GivesBackWhatWasSampled, ()) {
  const int period_ms = *rc::gen::inRange(1, 101);
  const auto rpm = *rc::gen::suchThat(rc::gen::container<std::vector<int>>(rc::gen::inRange(1000, 1090)),
                                      [](const auto& v) { return v.size() > 1; });
  const int start_ms = *rc::gen::inRange(-100'000, 100'000);
  std::string text = "n;t_ms\n";
  for (std::size_t k = 0; k < rpm.size(); ++k)
    text += std::to_string(rpm[k]) + ";" + std::to_string(start_ms + static_cast<int>(k) * period_ms) + "\n";
  LogAsk ask = t_and_n();
  ask.time = "t_ms";
  auto log = read_rpm_log(text, ask);
  RC_ASSERT(std::holds_alternative<RpmLog>(log));
  const auto& samples = *std::get<RpmLog>(log).step.samples;
  RC_ASSERT(samples.size() == rpm.size());
  for (std::size_t k = 0; k < rpm.size(); ++k) {
    RC_ASSERT(samples[k].rpm == rpm[k]);
    RC_ASSERT(std::llabs(samples[k].at - static_cast<Nanos>(k) * period_ms * ns_per_ms) <= 1);
  }
}

TEST(NamedFiles, AreReadOnceAndKeptUnderNamesOfTheirOwn) {
  const ScratchFolder scratch;
  scratch.write("lap.csv", "t,n\n");
  NamedFiles files(scratch.path(), NamedFiles::Copies::beside_the_scenario);
  std::string trouble;
  ASSERT_NE(files.read("lap.csv", "log", 100, 1, trouble), nullptr);
  scratch.write("lap.csv", "changed since\n");
  ASSERT_NE(files.read("lap.csv", "log", 100, 1, trouble), nullptr);
  EXPECT_EQ(*files.read("lap.csv", "log", 100, 1, trouble), "t,n\n");
  EXPECT_EQ(files.read("gone.csv", "log", 100, 1, trouble), nullptr);
  EXPECT_THAT(trouble, HasSubstr("no such file; "));
  EXPECT_EQ(files.read("lap.csv", "edges", 10, 2, trouble), nullptr);
  const std::vector<NamedFile> kept = files.take();
  ASSERT_EQ(kept.size(), 1u);
  EXPECT_EQ(kept[0].kept_as, "log-1.csv");
}

TEST(NamedFiles, ARunFoldersScenarioNamesTheCopies) {
  const std::vector<NamedFile> files{{"../laps/lap.csv", "log-1.csv", "", {2, 4}},
                                     {"log-1.csv", "log-2.csv", "", {3, 4}}};
  EXPECT_EQ(
      naming_the_copies("# ../laps/lap.csv and log-1.csv\n"
                        "- {replay: ../laps/lap.csv, time: t}\n"
                        "- {replay: 'log-1.csv', time: t}\n"
                        "[{\"replay\":\"../laps/lap.csv\"}, {\"replay\":\"log-1.csv\", \"my-log-1.csv\"}]",
                        files),
      "# ../laps/lap.csv and log-1.csv\n"
      "- {replay: log-1.csv, time: t}\n"
      "- {replay: 'log-2.csv', time: t}\n"
      "[{\"replay\":\"log-1.csv\"}, {\"replay\":\"log-2.csv\", \"my-log-1.csv\"}]");
}

// A run folder may come from anybody: nothing outside it is opened, whatever its scenario names.
TEST(NamedFiles, OfARunFolderAreItsOwnCopiesOnly) {
  const ScratchFolder scratch;
  scratch.write("log-1.csv", "t,n\n0,1000\n0.1,1000\n");
  NamedFiles files(scratch.path(), NamedFiles::Copies::in_the_run_folder);
  std::string trouble;
  const std::string* text = files.read("/dev/zero", "log", 100, 1, trouble);
  ASSERT_NE(text, nullptr);
  EXPECT_EQ(*text, "t,n\n0,1000\n0.1,1000\n");
  EXPECT_EQ(files.read("../lap.csv", "log", 100, 1, trouble), nullptr);
  EXPECT_THAT(trouble, HasSubstr("no log-2.csv in the run folder"));
}

}  // namespace
}  // namespace tachproof
