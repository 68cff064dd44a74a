// CSV recordings: a header, time first, one 0/1 column per channel.
#include <gtest/gtest.h>

#include <cstdio>
#include <string>

#include "tests/bench/recording_support.h"

namespace tachproof {
namespace {

const Changes two_steps = {{0, 0, low}, {0, 1, high}, {1'000'000, 0, high}, {3'000'000, 1, low}};
const std::string two_steps_text = "time,D0,D1\n0.000,0,1\n0.001,1,1\n0.002,1,1\n0.003,1,0\n0.004,1,0\n";

TEST(CsvReader, GivesInitialLevelsAndThenChanges) {
  const auto reader = open_text(two_steps_text, {"D0", "D1"});
  EXPECT_EQ(reader->channels(), (std::vector<std::string>{"D0", "D1"}));
  const Recorded r = read_all(*reader);
  EXPECT_EQ(r.changes, two_steps);
  EXPECT_EQ(r.end, 4'000'000);
  EXPECT_FALSE(r.truncated);
}

TEST(CsvReader, ReadsRowsOnChangeAlike) {
  EXPECT_EQ(read_text("t,D0,D1\n0,0,1\n.001,1,1\n3e-3,1,0\n", {"D0", "D1"}).changes, two_steps);
}

TEST(CsvReader, FindsTheSeparatorAndForgivesBlanksQuotesCommentsAndCarriageReturns) {
  for (const char* text : {
           "time;D0;D1\n0.000;0;1\n0.001;1;1\n0.003;1;0\n",
           "time\tD0\tD1\n0.000\t0\t1\n0.001\t1\t1\n0.003\t1\t0\n",
           "\"Time [s]\", \"D0\", \"D1\"\n0.000, 0, 1\n0.001, 1, 1\n0.003, 1, 0\n",
           "; a comment, with, commas\n# and another\nMETA samplerate: 1000\n\n time , D0 , D1 \n 0.000 , 0 "
           ", 1\n 0.001 "
           ",1,1\n0.003,1,0 \n\n",
           "\xEF\xBB\xBFtime,D0,D1\r\n0.000,0,1\r\n0.001,1,1\r\n0.003,1,0\r\n",
           "time,D0,D1\n\"0.000\",\"0\",\"1\"\n\"0.001\",\"1\",\"1\"\n\"0.003\",\"1\",\"0\"\n",
       }) {
    const Recorded r = read_text(text, {"D0", "D1"});
    EXPECT_EQ(r.error, "") << text;
    EXPECT_EQ(r.changes, two_steps) << text;
    EXPECT_FALSE(r.truncated) << text;
  }
}

TEST(CsvReader, ReadsQuotedNamesWithSeparatorsAndQuotesInThem) {
  const auto reader = open_text("time,\"left, white\",\"a \"\"b\"\"\"\n0,0,1\n", {"left, white"});
  EXPECT_EQ(reader->channels(), (std::vector<std::string>{"left, white", "a \"b\""}));
}

TEST(CsvReader, ScalesATimeColumnThatSaysItsUnit) {
  for (const char* name : {"Time [ms]", "Time(ms)", "time_ms", "t/ms", "Time in ms"}) {
    EXPECT_EQ(read_text(std::string(name) + ",D0\n0,0\n1.5,1\n", {"D0"}).end, 1'500'000) << name;
  }
  EXPECT_EQ(read_text("Time [us],D0\n0,0\n1.5,1\n", {"D0"}).end, 1'500);
  EXPECT_EQ(read_text("Time [\xC2\xB5s],D0\n0,0\n1.5,1\n", {"D0"}).end, 1'500);
  EXPECT_EQ(read_text("Time [ns],D0\n0,0\n1.5,1\n", {"D0"}).end, 2);
  EXPECT_EQ(read_text("Time [ps],D0\n0,0\n1500000,1\n", {"D0"}).end, 1'500);
  for (const char* name : {"Time [s]", "Time (sec)", "seconds", "x", "items", "start_of_terms"}) {
    EXPECT_EQ(read_text(std::string(name) + ",D0\n0,0\n1.5,1\n", {"D0"}).end, 1'500'000'000) << name;
  }
}

TEST(CsvReader, TakesTimesToTheNanosecondInAnyForm) {
  struct Case {
    const char* text;
    Nanos at;
  };
  for (const Case& c :
       {Case{"1", ns_per_s}, Case{"0.1", 100'000'000}, Case{"0.000000001", 1}, Case{"0.0000000015", 2},
        Case{"0.0000000014999", 1}, Case{"1E-3", 1'000'000}, Case{"+1.25e+0", 1'250'000'000},
        Case{"123456.789012345", 123'456'789'012'345}, Case{"100.", 100 * ns_per_s},
        Case{"3999999999.999999999", 3'999'999'999'999'999'999}, Case{"1e-30", 0}}) {
    EXPECT_EQ(read_text(std::string("t,a\n0,0\n") + c.text + ",1\n", {"a"}).end, c.at) << c.text;
  }
}

TEST(CsvReader, CountsTimeFromTheFirstRowEvenBeforeTheTrigger) {
  const Recorded r = read_text("t,a\n-0.002,0\n-0.0010,1\n0.000,1\n0.001,0\n0.002,0\n", {"a"});
  EXPECT_EQ(r.changes, (Changes{{0, 0, low}, {1'000'000, 0, high}, {3'000'000, 0, low}}));
  EXPECT_EQ(r.end, 4'000'000);
}

TEST(CsvReader, TakesXAndZAndNothingForUnknown) {
  const Recorded r = read_text("t,a,b\n0,x,0\n1,0,z\n2,,1\n3,1,Z\n4,X,0\n", {"a", "b"});
  EXPECT_EQ(r.changes, (Changes{{0, 0, unknown},
                                {0, 1, low},
                                {1 * ns_per_s, 0, low},
                                {1 * ns_per_s, 1, unknown},
                                {2 * ns_per_s, 0, unknown},
                                {2 * ns_per_s, 1, high},
                                {3 * ns_per_s, 0, high},
                                {3 * ns_per_s, 1, unknown},
                                {4 * ns_per_s, 0, unknown},
                                {4 * ns_per_s, 1, low}}));
}

TEST(CsvReader, SaysHowFineItsTimesAre) {
  const auto resolution = [](const std::string& text) { return open_text(text, {})->resolution(); };
  EXPECT_EQ(resolution(two_steps_text), ns_per_ms);  // sampled: the spacing
  EXPECT_EQ(resolution("t,a\n0.00000,0\n0.00005,0\n0.00010,1\n0.00015,1\n"), 50'000);
  // At 3 MHz the written spacings differ by the last digit.
  EXPECT_EQ(resolution("t,a\n0.000000000,0\n0.000000333,0\n0.000000667,0\n0.000001000,1\n"), 333);
  // On change: what the last digit is worth. Even rows alone, as an even tach
  // gives them, do not make a sampled file.
  EXPECT_EQ(resolution("t,a\n0.0000,0\n0.0025,1\n0.0050,0\n0.0075,1\n"), 100'000);
  EXPECT_EQ(resolution("t,a\n0,0\n0.5,1\n0.50125,0\n"), 10'000);
  EXPECT_EQ(resolution("Time [ms],a\n0.0,0\n0.5,1\n7.1,0\n"), 100'000);
  EXPECT_EQ(resolution("t,a\n0.0,0\n"), 100 * ns_per_ms);
}

TEST(CsvReader, CoarsensItsResolutionAsAnExponentFormLosesDigits) {
  const auto reader = open_text("t,a\n1.234e-06,0\n1.234e-03,1\n1.234e+02,0\n", {"a"});
  read_all(*reader);
  EXPECT_EQ(reader->resolution(), 100 * ns_per_ms);
}

TEST(CsvReader, GivesTheSameWhateverTheSizeOfTheReadBufferAndOfTheBlock) {
  std::string text = "; comment\ntime,tach,left,mid\n";
  for (int i = 0; i < 60; ++i) {
    const char* form = i == 31   ? "%d.%03de-00 , %d,%d, x\n"
                       : i == 40 ? "%d.%03d,%d, %d,1\n"
                                 : "%d.%03d,%d,%d,1\n";
    char row[64];
    std::snprintf(row, sizeof row, form, i / 8, i % 8 * 125, i / 3 % 2, i / 20 % 2);
    text += row;
  }
  const std::vector<std::string> wanted = {"left", "tach", "mid"};
  const Recorded whole = read_text(text, wanted);
  ASSERT_EQ(whole.error, "");
  ASSERT_EQ(whole.changes.size(), 3u + 19 + 2 + 2);
  EXPECT_EQ(whole.end, 7'375'000'000);
  for (std::size_t size = 1; size <= text.size() + 1; ++size) {
    const Recorded r = read_text(text, wanted, size, 1 + size % 5);
    ASSERT_EQ(r.changes, whole.changes) << size;
    ASSERT_EQ(r.end, whole.end);
    ASSERT_FALSE(r.truncated);
  }
}

TEST(CsvRefusals, NameALineAndWhatIsAllowed) {
  struct Refusal {
    std::string text;
    std::string message;
  };
  const std::string head = "time,a,b\n0.5,0,1\n0.6,0,1\n";
  for (const Refusal& r : std::initializer_list<Refusal>{
           {head + "0.4,0,1\n", "capture:4: time goes backwards, from 0.600000000 s to 0.400000000 s"},
           {head + "0.7,0\n", "capture:4: 2 columns; the header has 3"},
           {head + "\n0.7,0,1,\n", "capture:5: 4 columns; the header has 3"},
           {head + "0.7,0,2\n", "capture:4: '2' in column 'b'; 0, 1, x, z or nothing are allowed"},
           {head + "0.7,0,1.0\n", "capture:4: '1.0' in column 'b'; 0, 1, x, z or nothing are allowed"},
           {head + "0.7s,0,1\n", "capture:4: time '0.7s'; a number of seconds within 4e9 is needed"},
           {head + ",0,1\n", "capture:4: time ''; a number of seconds within 4e9 is needed"},
           {head + "nan,0,1\n", "capture:4: time 'nan'; a number of seconds within 4e9 is needed"},
           {head + "1e300,0,1\n", "capture:4: time '1e300'; a number of seconds within 4e9 is needed"},
           {head + "4000000001,0,1\n",
            "capture:4: time '4000000001'; a number of seconds within 4e9 is needed"},
           {"0.1,0,1\n0.2,0,1\n",
            "capture:1: no header: the first line begins with the number '0.1'; a line of names is needed"},
           {"time,a,b,a\n0,0,0,0\n", "capture:1: two columns are called 'a'"},
           {"time,a,\n0,0,0\n", "capture:1: a column without a name"},
           {"time,\"a\n0,0,0\n", "capture:1: a quote that does not end in the header"},
           {"Time [min],a\n0,0\n",
            "capture:1: time column 'Time [min]' in 'min'; s, ms, us, ns or ps are allowed"},
           {"samples,a\n0,0\n", "capture:1: the first column is 'samples'; a time in seconds is needed"},
           {"time,a\n", "capture:2: no row after the header; there is nothing in it"},
           {"; only\n# comments\n", "capture:3: no header; time and one column per channel are needed"},
           {"time,a", "capture:1: the file ends in its first line, 'time,a'; it was cut off there"},
           {"hello world\n",
            "capture:1: 'hello world' begins neither a VCD (a $ keyword) nor a CSV (a header: time, then "
            "channels)"},
       }) {
    EXPECT_EQ(error_of(r.text), r.message) << r.text;
  }
  EXPECT_EQ(error_of(head, {"c"}), "capture: no channel 'c' in it; did you mean 'a'? there are: a, b");
  // Laid out like the rows before, so that the quick way sees it first.
  EXPECT_EQ(error_of(head + "0.7,0,1\n0.8,0,1\n0.7,0,1\n"),
            "capture:6: time goes backwards, from 0.800000000 s to 0.700000000 s");
  EXPECT_EQ(error_of(head + "0.7,0,1\n0.8,0,1\n0.9;0,1\n"), "capture:6: 2 columns; the header has 3");
  EXPECT_EQ(error_of(head + "0.7,0,1\n0.8,0,1\n0:9,0,1\n"),
            "capture:6: time '0:9'; a number of seconds within 4e9 is needed");
}

TEST(CsvCuts, AreToldEvenWhereTheLastRowLooksWhole) {
  const std::string head = "time,a,b\n0.1,0,1\n";
  const Recorded whole_row = read_text(head + "0.2,1,1", {"a"});
  EXPECT_EQ(whole_row.trouble,
            "capture:3: the last row, '0.2,1,1', has no newline; the file may have been cut off there");
  EXPECT_EQ(whole_row.changes, (Changes{{0, 0, low}, {100'000'000, 0, high}}));
  const Recorded half_row = read_text(head + "0.2,1,", {"a"});
  EXPECT_EQ(half_row.trouble,
            "capture:3: the last row, '0.2,1,', has no newline; the file may have been cut off there");
  EXPECT_EQ(half_row.changes, (Changes{{0, 0, low}}));
  EXPECT_EQ(half_row.end, 0);
}

TEST(CsvCuts, AtEveryByteAreSeenAndGiveAPrefixOfTheChanges) {
  const std::string text = "time;tach;left\n-0.10;0;x\n0.00;1;0\n0.05;0;1\n12.5;1;\n13.7e0;0;0\n";
  const std::vector<std::string> wanted = {"tach", "left"};
  const Recorded whole = read_text(text, wanted);
  ASSERT_EQ(whole.changes.size(), 2u + 2 + 2 + 2 + 2);
  const std::size_t first_row_end = text.find("\n0.00");
  for (std::size_t size = 0; size < text.size(); ++size) {
    const std::string cut = text.substr(0, size);
    const Recorded r = read_text(cut, wanted);
    if (size < first_row_end) {
      ASSERT_NE(r.error, "") << size;
      continue;
    }
    ASSERT_EQ(r.error, "") << size;
    ASSERT_EQ(r.truncated, cut.back() != '\n') << size;
    ASSERT_LE(r.changes.size(), whole.changes.size()) << size;
    ASSERT_TRUE(std::equal(r.changes.begin(), r.changes.end(), whole.changes.begin())) << size;
  }
}

}  // namespace
}  // namespace tachproof
