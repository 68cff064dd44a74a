// Value change dumps as real programs write them. The grammar is IEEE
// 1364-2005, clause 18, as quoted by the sources named beside the checks.
#include <gtest/gtest.h>

#include <string>
#include <utility>

#include "tests/bench/recording_support.h"

namespace tachproof {
namespace {

std::string header(const std::string& variables, const std::string& timescale = "1 us") {
  return "$timescale " + timescale + " $end\n$scope module top $end\n" + variables +
         "$upscope $end\n$enddefinitions $end\n";
}

const std::string two_wires = header("$var wire 1 ! D0 $end\n$var wire 1 \" D1 $end\n");

TEST(VcdReader, GivesInitialLevelsAndThenChanges) {
  const Recorded r =
      read_text(two_wires + "#0\n$dumpvars\n1!\n0\"\n$end\n#10\n0!\n#25\n1\"\n#30\n", {"D0", "D1"});
  EXPECT_EQ(r.changes, (Changes{{0, 0, high}, {0, 1, low}, {10'000, 0, low}, {25'000, 1, high}}));
  EXPECT_EQ(r.end, 30'000);
  EXPECT_FALSE(r.truncated);
  EXPECT_EQ(r.error, "");
}

TEST(VcdReader, CallsAChannelUnknownUntilItIsGiven) {
  const Recorded r = read_text(two_wires + "#0\n1!\n#10\n0\"\n", {"D1", "D0"});
  EXPECT_EQ(r.changes, (Changes{{0, 0, unknown}, {0, 1, high}, {10'000, 0, low}}));
}

TEST(VcdReader, TakesValuesBeforeTheFirstTimeAsInitial) {
  const Recorded r = read_text(two_wires + "$dumpvars\n1!\n0\"\n$end\n#7\n0!\n#9\n1!\n", {"D0"});
  EXPECT_EQ(r.changes, (Changes{{0, 0, low}, {2'000, 0, high}}));
}

TEST(VcdReader, CountsTimeFromTheFirst) {
  const Recorded r = read_text(two_wires + "#1000\n1!\n#1004\n0!\n#1010\n", {"D0"});
  EXPECT_EQ(r.changes, (Changes{{0, 0, high}, {4'000, 0, low}}));
  EXPECT_EQ(r.end, 10'000);
}

TEST(VcdReader, LeavesOutChangesToTheSameLevel) {
  const Recorded r = read_text(two_wires + "#0\n1!\n#1\n1!\n#2\n0!\n#3\n$dumpall\n0!\n0\"\n$end\n", {"D0"});
  EXPECT_EQ(r.changes, (Changes{{0, 0, high}, {2'000, 0, low}}));
}

TEST(VcdReader, KnowsEveryTimescale) {
  // Numbers 1, 10 and 100; units s to fs: pyvcd vcd/common.py.
  struct Case {
    const char* text;
    Nanos at_3000;
    Nanos resolution;
  };
  for (const Case& c :
       {Case{"1 s", 3'000 * ns_per_s, ns_per_s}, Case{"100ms", 300 * ns_per_s, 100 * ns_per_ms},
        Case{"10 us", 30 * ns_per_ms, 10 * ns_per_us}, Case{"1\n\tns", 3'000, 1}, Case{"100 ps", 300, 1},
        Case{"10\n ps", 30, 1}, Case{"1ps", 3, 1}, Case{"100 fs", 0, 1}, Case{"1 fs", 0, 1}}) {
    const auto reader = open_text(header("$var wire 1 ! a $end\n", c.text) + "#0\n0!\n#3000\n1!\n", {"a"});
    EXPECT_EQ(reader->resolution(), c.resolution) << c.text;
    EXPECT_EQ(read_all(*reader).end, c.at_3000) << c.text;
  }
}

TEST(VcdReader, RoundsTimesBelowANanosecondWithoutDrift) {
  std::string text = header("$var wire 1 ! a $end\n", "100 ps") + "#0\n0!\n";
  for (int i = 1; i <= 1000; ++i) text += "#" + std::to_string(7 * i) + "\n" + (i % 2 == 0 ? "0!\n" : "1!\n");
  const Recorded r = read_text(text, {"a"});
  ASSERT_EQ(r.changes.size(), 1001u);
  for (int i = 1; i <= 1000; ++i) ASSERT_EQ(r.changes[static_cast<std::size_t>(i)].at, (7 * i + 5) / 10) << i;
}

TEST(VcdReader, KnowsLevelsInEitherCaseAndTheNineOfVhdl) {
  const Recorded r = read_text(
      two_wires + "#0\n0!\n#1\nx!\n#2\n1!\n#3\nZ!\n#4\n0!\n#5\nX!\n#6\nh!\n#7\nz!\n#8\nL!\n#9\nu!\n", {"D0"});
  Changes expected;
  for (int i = 0; i < 10; ++i) {
    const Level level = i % 2 == 1 ? unknown : i % 4 == 2 ? high : low;
    expected.push_back({i * ns_per_us, 0, level});
  }
  EXPECT_EQ(r.changes, expected);
}

TEST(VcdReader, ReadsSeveralRecordsOnALineAndOneRecordOnTwo) {
  // sigrok-cli writes "#0 1! 0\"".
  const Recorded r = read_text(header("$var wire 1 ! a $end $var reg 2 \" v [1:0] $end\n") +
                                   "#0 1! b01\n\"\n\n#5 0!\n  #8\t1! b1 \"\n",
                               {"a", "v[0]"});
  EXPECT_EQ(r.changes, (Changes{{0, 0, high}, {0, 1, high}, {5'000, 0, low}, {8'000, 0, high}}));
}

TEST(VcdReader, ReadsCarriageReturns) {
  std::string text = two_wires + "#0\n$dumpvars\n1!\n0\"\n$end\n#10\n0!\n#25\n1\"\n";
  const Recorded plain = read_text(text, {"D0", "D1"});
  for (std::size_t i = 0; (i = text.find('\n', i)) != std::string::npos; i += 2) text.insert(i, "\r");
  const Recorded r = read_text(text, {"D0", "D1"});
  EXPECT_EQ(r.changes, plain.changes);
  EXPECT_FALSE(r.truncated);
}

TEST(VcdReader, SkipsDatesVersionsAndCommentsWhereverTheyStand) {
  // A comment may go over several lines: pyvcd tests/test_reader.py.
  const std::string text =
      "$comment\n#5 is no time\n1! in here $end\n$date today $end $version\n some program\n$end\n" +
      two_wires + "#0\n1!\n$comment\n#99\n0!\n$dumpoff\n$end\n#3\n$comment one line $end\n0!\n";
  const Recorded r = read_text(text, {"D0"});
  EXPECT_EQ(r.changes, (Changes{{0, 0, high}, {3'000, 0, low}}));
  EXPECT_EQ(r.end, 3'000);
}

TEST(VcdReader, NamesChannelsByFullPathAndWhereUniqueByLastPart) {
  const std::string text =
      "$timescale 1 ns $end\n$scope module top $end\n$var wire 1 ! clk $end\n$scope begin inner $end\n"
      "$var wire 1 \" clk $end\n$var wire 1 # d $end\n$upscope $end\n$upscope $end\n$var wire 1 $ loose "
      "$end\n"
      "$enddefinitions $end\n#0\n0!\n1\"\n1#\n0$\n";
  const auto reader = open_text(text, {"top.clk", "top.inner.clk", "d", "loose"});
  EXPECT_EQ(reader->channels(),
            (std::vector<std::string>{"top.clk", "top.inner.clk", "top.inner.d", "loose", "d"}));
  EXPECT_EQ(read_all(*reader).changes, (Changes{{0, 0, low}, {0, 1, high}, {0, 2, high}, {0, 3, low}}));
}

TEST(VcdReader, TakesOneSignalUnderSeveralNamesAsOne) {
  const std::string text =
      "$timescale 1 ns $end $scope module top $end $var wire 1 ! q $end\n$scope module u $end $var wire 1 ! "
      "q $end\n"
      "$upscope $end $upscope $end $enddefinitions $end\n#0\n0!\n#1\n1!\n";
  const Recorded r = read_text(text, {"q", "top.u.q"});
  EXPECT_EQ(r.changes, (Changes{{0, 0, low}, {0, 1, low}, {1, 0, high}, {1, 1, high}}));
}

TEST(VcdReader, ReadsEscapedNamesAndNamesOfSeveralWords) {
  const std::string text = header(
      "$var wire 1 ! \\odd.name+1 $end\n$var wire 1 \" \\mem[0] $end\n$var wire 1 # probe 7 $end\n"
      "$var reg 2 $ \\w[1] [1:0] $end\n");
  const auto reader = open_text(text + "#0\n1!\n", {"odd.name+1", "top.mem[0]", "probe 7", "w[1][0]"});
  EXPECT_EQ(reader->channels().front(), "top.odd.name+1");
}

TEST(VcdReader, NamesBitsOfVectorsByTheirRange) {
  const std::string variables =
      "$var reg 4 ! down [3:0] $end\n$var reg 2 \" up[4:5] $end\n$var integer 3 # plain $end\n"
      "$var wire 1 $ one [0:0] $end\n$var wire 1 % part [6] $end\n";
  const auto reader =
      open_text(header(variables) + "#0\nb1000 !\nb10 \"\nb001 #\nb1 $\n1%\n",
                {"down[3]", "down[0]", "up[4]", "up[5]", "plain[0]", "one", "one[0]", "part[6]"});
  EXPECT_EQ(reader->channels(),
            (std::vector<std::string>{
                "top.down[3]",  "top.down[2]",  "top.down[1]",  "top.down[0]", "top.up[4]",  "top.up[5]",
                "top.plain[2]", "top.plain[1]", "top.plain[0]", "top.one",     "top.one[0]", "top.part[6]",
                "down[3]",      "down[2]",      "down[1]",      "down[0]",     "up[4]",      "up[5]",
                "plain[2]",     "plain[1]",     "plain[0]",     "one",         "one[0]",     "part[6]"}));
  EXPECT_EQ(read_all(*reader).changes, (Changes{{0, 0, high},
                                                {0, 1, low},
                                                {0, 2, high},
                                                {0, 3, low},
                                                {0, 4, high},
                                                {0, 5, high},
                                                {0, 6, high},
                                                {0, 7, high}}));
}

TEST(VcdReader, ExtendsShortVectorsToTheLeft) {
  // Leading 0 or 1 by 0, x by x, z by z: IEEE 1364-2005, 18.2 (from memory).
  const std::string text =
      header("$var reg 4 ! v [3:0] $end\n") + "#0\nb1 !\n#1\nbx1 !\n#2\nb01 !\n#3\nbz !\n#4\nB10 !\n";
  EXPECT_EQ(
      read_text(text, {"v[3]"}).changes,
      (Changes{{0, 0, low}, {1'000, 0, unknown}, {2'000, 0, low}, {3'000, 0, unknown}, {4'000, 0, low}}));
  EXPECT_EQ(read_text(text, {"v[0]"}).changes, (Changes{{0, 0, high}, {3'000, 0, unknown}, {4'000, 0, low}}));
}

TEST(VcdReader, ReadsTheGoldenSampleOfPyvcd) {
  // westerndigitalcorporation/pyvcd README.rst: a counter 10, 12, ... 18 and a real.
  const std::string text =
      "$date today $end\n$timescale 1 ns $end\n$scope module a $end\n$scope module b $end\n$scope module c "
      "$end\n"
      "$var integer 8 ! counter $end\n$var real 64 \" x $end\n$upscope $end\n$upscope $end\n$upscope $end\n"
      "$enddefinitions $end\n#0\n$dumpvars\nb1010 !\nr1.23 \"\n$end\n#1\nb1100 !\n#2\nb1110 !\n#3\nb10000 !\n"
      "#4\nb10010 !\n#5\nr3.21 \"\n";
  const Recorded r =
      read_text(text, {"a.b.c.counter[4]", "counter[3]", "counter[2]", "counter[1]", "counter[0]"});
  int value[6] = {};
  int bits[5] = {};
  std::size_t i = 0;
  for (int t = 0; t <= 5; ++t) {
    for (; i < r.changes.size() && r.changes[i].at == t; ++i)
      bits[r.changes[i].channel] = r.changes[i].level == high;
    for (const int b : bits) value[t] = 2 * value[t] + b;
  }
  EXPECT_EQ(std::vector<int>(value, value + 6), (std::vector<int>{10, 12, 14, 16, 18, 18}));
  EXPECT_EQ(r.end, 5);
  EXPECT_FALSE(r.truncated);
}

TEST(VcdReader, ReadsEveryKindOfVariableAndIgnoresWhatHasNoLevel) {
  // The types of pyvcd vcd/common.py, string and logic being extensions, and
  // some more of SystemVerilog's.
  std::string variables;
  std::string values;
  char code = '!';
  for (const char* type :
       {"integer", "parameter", "reg",  "supply0", "supply1", "time",  "tri", "triand", "trior", "trireg",
        "tri0",    "tri1",      "wand", "wire",    "wor",     "logic", "bit", "int",    "byte",  "enum"}) {
    variables += std::string("$var ") + type + " 1 " + code + " v_" + type + " $end\n";
    values += std::string("1") + code++ + "\n";
  }
  variables +=
      "$var event 1 ~ e $end $var real 64 } r $end $var realtime 64 | t $end $var string 1 { s $end\n";
  values += "1~\nr1e-10 }\nR0 |\nshello {\n";
  const Recorded r =
      read_text(header(variables) + "#0\n" + values + "#1\n1~\nrNaN }\nsbye {\n", {"v_logic", "v_tri0"});
  EXPECT_EQ(r.error, "");
  EXPECT_EQ(r.changes, (Changes{{0, 0, high}, {0, 1, high}}));
}

TEST(VcdReader, ReadsCodesOfSeveralCharacters) {
  // Codes such as "(k" and "{2": the examples of IEEE 1364-2005, clause 18.
  const Recorded r =
      read_text(header("$var wire 1 (k a $end $var wire 1 {2 b $end $var wire 1 abcd c $end\n") +
                    "#0\n1(k\n0{2\nxabcd\n#1\n0(k\n#2\n1{2\n0abcd\n",
                {"a", "b", "c"});
  EXPECT_EQ(
      r.changes,
      (Changes{
          {0, 0, high}, {0, 1, low}, {0, 2, unknown}, {1'000, 0, low}, {2'000, 1, high}, {2'000, 2, low}}));
}

TEST(VcdReader, TakesEverythingForUnknownWhileDumpingIsOff) {
  const Recorded r = read_text(
      two_wires + "#0\n$dumpvars\n1!\n0\"\n$end\n#5\n$dumpoff\n0!\nx\"\n$end\n#9\n$dumpon\n1!\n0\"\n$end\n",
      {"D0", "D1"});
  EXPECT_EQ(r.changes, (Changes{{0, 0, high},
                                {0, 1, low},
                                {5'000, 0, unknown},
                                {5'000, 1, unknown},
                                {9'000, 0, high},
                                {9'000, 1, low}}));
}

TEST(VcdReader, TakesTimesOfChangingLength) {
  std::string text = two_wires + "#0\n0!\n";
  Changes expected = {{0, 0, low}};
  std::uint64_t t = 1;
  for (int i = 0; i < 16; ++i, t = t * 10 + 7) {
    text += "#" + std::to_string(t) + "\n" + (i % 2 == 0 ? "1!\n" : "0!\n");
    expected.push_back({static_cast<Nanos>(t) * 1000, 0, i % 2 == 0 ? high : low});
  }
  EXPECT_EQ(read_text(text, {"D0"}).changes, expected);
}

TEST(VcdReader, GivesTheSameWhateverTheSizeOfTheReadBufferAndOfTheBlock) {
  const std::string text =
      header("$var wire 1 ! a $end\n$var reg 4 \" v [3:0] $end\n$var wire 1 ab c $end\n") +
      "#0\n$dumpvars\n1!\nb1010 \"\n0ab\n$end\n#17\n0!\n#142\nbx1 \"\n$comment two\nlines $end\n"
      "#1500\n1!\n1ab\n#1501 0! b0 \"\n#20000\n";
  const std::vector<std::string> wanted = {"a", "v[3]", "v[0]", "c"};
  const Recorded whole = read_text(text, wanted);
  ASSERT_EQ(whole.error, "");
  ASSERT_EQ(whole.changes.size(), 12u);
  for (std::size_t size = 1; size <= text.size() + 1; ++size) {
    const Recorded r = read_text(text, wanted, size, 1 + size % 5);
    ASSERT_EQ(r.changes, whole.changes) << size;
    ASSERT_EQ(r.end, whole.end);
    ASSERT_FALSE(r.truncated);
  }
}

}  // namespace
}  // namespace tachproof
