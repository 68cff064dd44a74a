// What a VCD reader must not take for a recording, word for word, and files
// that were cut off.
#include <gtest/gtest.h>

#include <string>

#include "tests/bench/recording_support.h"

namespace tachproof {
namespace {

const std::string head =
    "$timescale 1 ns $end\n"
    "$scope module top $end\n"
    "$var wire 1 ! D0 $end\n"
    "$var wire 1 \" D1 $end\n"
    "$var reg 4 # bus [3:0] $end\n"
    "$var real 64 $ volts $end\n"
    "$upscope $end\n"
    "$enddefinitions $end\n"
    "#0\n";

struct Refusal {
  std::string text;
  std::string message;
};

void expect_refused(const std::vector<Refusal>& all) {
  for (const Refusal& r : all) EXPECT_EQ(error_of(r.text), r.message) << r.text;
}

TEST(VcdRefusals, NameALineAndWhatIsAllowed) {
  expect_refused({
      {head + "1!\n#10\n#9\n", "capture:12: time goes backwards, from #10 to #9"},
      // With as many digits as the time before, which is read another way.
      {head + "1!\n#20\n0!\n#30\n1!\n#25\n", "capture:15: time goes backwards, from #30 to #25"},
      {head + "#1\n0!\n1%\n", "capture:12: identifier code '%' was not declared"},
      {head + "#1\n0!\nb1 ab\n", "capture:12: identifier code 'ab' was not declared"},
      {head + "#9223372036854775808\n", "capture:10: time '#9223372036854775808' is too large"},
      {head + "#18446744073709551616\n", "capture:10: time '#18446744073709551616' is too large"},
      {head + "#-5\n", "capture:10: '#-5' is not a time; # and a whole number are allowed"},
      {head + "#\n", "capture:10: '#' is not a time; # and a whole number are allowed"},
      {head + "#1.5\n", "capture:10: '#1.5' is not a time; # and a whole number are allowed"},
      {head + "#1\n\ngarbage here\n", "capture:12: 'garbage' is not a time, value change or $ keyword"},
      {head + "1\n!\n", "capture:10: '1' is not a time, value change or $ keyword"},
      {head + "b102 #\n", "capture:10: vector value 'b102'; b and digits 0, 1, x or z are allowed"},
      {head + "b #\n", "capture:10: vector value 'b'; b and digits 0, 1, x or z are allowed"},
      {head + "b10101 #\n", "capture:10: a value of 5 bits for '#', which has 4"},
      {head + "1$\n", "capture:10: a bit value for '$', which is a real or a string"},
      {head + "r1.5 !\n", "capture:10: a real or string value for '!', which has bits"},
      {head + "$end\n", "capture:10: a $end that ends nothing"},
      {head + "$dumpvars\n1!\n#5\n", "capture:12: time '#5' inside of $dumpvars; its $end is missing"},
      {head + "$dumpvars\n$dumpoff\n", "capture:11: $dumpoff inside of $dumpvars; its $end is missing"},
      {head + "$var wire 1 & late $end\n",
       "capture:10: '$var' after $enddefinitions; $comment and $dump... may stand there"},
      {head + "$comment done$end\n", "capture:10: 'done$end'; a blank must stand before $end"},
  });
}

TEST(VcdRefusals, CoverTheHeader) {
  const std::string begin = "$timescale 1 ns $end\n";
  expect_refused({
      {"", "capture: nothing in it; a VCD or CSV recording is needed"},
      {"\n  \n", "capture: nothing in it; a VCD or CSV recording is needed"},
      {std::string("$time\0scale", 11),
       "capture: byte 0x00 at 5: a binary file; a VCD or CSV recording is needed"},
      {"\x7f"
       "ELF\x02\x01",
       "capture: byte 0x7f at 0: a binary file; a VCD or CSV recording is needed"},
      // Both refusals: pyvcd tests/test_reader.py.
      {begin + "$enddefinitions $var $end\n",
       "capture:2: '$var' after $enddefinitions; only $end may follow"},
      {begin + "$date\nnow!!!$end\n", "capture:3: 'now!!!$end'; a blank must stand before $end"},
      {begin + "$var wire 1 ! a $end$upscope $end\n",
       "capture:2: '$end$upscope'; a blank must stand around $end"},
      {begin + "$var wire 1 ! a $end\n#0\n1!\n",
       "capture:3: '#0' before $enddefinitions; only declarations such as $var may stand there"},
      {begin + "$var wire 1 ! a $end\n",
       "capture:3: the file ends before $enddefinitions; it was cut off in its header"},
      {begin + "$comment no end\n",
       "capture:3: the file ends before the $end of $comment; it was cut off in its header"},
      {"$, \xb8.\n", "capture:2: the file ends before the $end of '$,'; it was cut off in its header"},
      {"$,!e\xb8.\n",
       "capture:2: the file ends before the $end of '$,!e\\xb8.'; it was cut off in its header"},
      {begin + "$end\n", "capture:2: a $end that ends nothing"},
      {begin + "$upscope $end\n", "capture:2: a $upscope outside of every scope"},
      {begin + "$scope module $end\n", "capture:2: a $scope without a name"},
      {begin + "$var wire 1 ! $end\n", "capture:2: a $var without a name"},
      {begin + "$var wirr 1 ! a $end\n",
       "capture:2: unknown variable type 'wirr'; wire, reg, logic, integer, real and the like are allowed"},
      {begin + "$var wire 0 ! a $end\n", "capture:2: variable width '0'; 1 to 1048576 bits are allowed"},
      {begin + "$var wire 1x ! a $end\n", "capture:2: variable width '1x'; 1 to 1048576 bits are allowed"},
      {begin + "$var wire 1 \xC3\xA9 a $end\n",
       "capture:2: identifier code '\\xc3\\xa9'; printable ASCII is allowed"},
      {begin + "$var wire 1 ! a $end $var real 64 ! b $end $enddefinitions $end\n",
       "capture: identifier code '!' is shared by variables of different kinds"},
      {begin + begin, "capture:2: a second $timescale"},
      {"$timescale 3 ns $end\n",
       "capture:1: timescale '3ns'; 1, 10 or 100 of s, ms, us, ns, ps or fs are allowed"},
      {"$timescale 1 min $end\n",
       "capture:1: timescale '1min'; 1, 10 or 100 of s, ms, us, ns, ps or fs are allowed"},
      {"$var wire 1 ! a $end\n$enddefinitions $end\n#0\n",
       "capture:2: no $timescale before $enddefinitions; without it times mean nothing"},
      {begin + "$enddefinitions $end\n",
       "capture:3: the file ends before its first time; there is nothing in it"},
      {begin + "$enddefinitions $end\n$comment " + std::string(longest_line, 'x'),
       "capture:3: a line of more than 1048576 bytes; no record is that long"},
  });
}

// 60 kB that would take 10 GB.
TEST(VcdRefusals, CountWhatNamesTakeInMemory) {
  std::string text = "$timescale 1 ns $end $scope module " + std::string(30'000, 's') + " $end\n";
  for (int i = 0; i < 1000; ++i) text += "$var wire 64 ! v" + std::to_string(i) + " $end\n";
  EXPECT_EQ(
      error_of(text + "$upscope $end $enddefinitions $end\n#0\n"),
      "capture:19: more than 32 MB of channel names; record fewer signals, or in scopes with shorter names");
}

TEST(VcdRefusals, NameTheChannelsThatThereAre) {
  EXPECT_EQ(
      error_of(head, {"D2"}),
      "capture: no channel 'D2' in it; did you mean 'D0'? there are: D0, D1, bus[3], bus[2], bus[1], bus[0]");
  EXPECT_EQ(error_of(head, {"something"}),
            "capture: no channel 'something' in it; there are: D0, D1, bus[3], bus[2], bus[1], bus[0]");
  EXPECT_EQ(error_of(head, {"bus"}), "capture: 'bus' has 4 bits; name one of them, 'bus[3]' to 'bus[0]'");
  EXPECT_EQ(error_of(head, {"top.bus[4]"}),
            "capture: 'top.bus' has 4 bits; name one of them, 'bus[3]' to 'bus[0]'");
  EXPECT_EQ(error_of(head, {"volts"}), "capture: 'volts' is a real number; a channel is one bit");
  const std::string begin = "$timescale 1 ns $end $scope module top $end ";
  const std::string end = "$upscope $end $enddefinitions $end\n#0\n";
  EXPECT_EQ(error_of(begin + "$var event 1 ! e $end " + end, {"e"}),
            "capture: 'e' is an event and has no level; a channel is one bit");
  EXPECT_EQ(error_of(begin + "$var reg 128 ! v $end " + end, {"v[70]"}),
            "capture: 'v' has 128 bits; of vectors of at most 64 bits one can be named");
  EXPECT_EQ(
      error_of(begin + "$var wire 1 ! a $end $scope module u $end $var wire 1 \" a $end $upscope $end " + end,
               {"a"}),
      "capture: several signals are called 'a'; give the full name of one: top.a, top.u.a");
  EXPECT_EQ(error_of(begin + "$var wire 1 ! a $end $var wire 1 \" a $end " + end, {"top.a"}),
            "capture: several signals are declared as 'top.a'; none of them can be named");
  EXPECT_EQ(error_of(begin + end, {"a"}), "capture: no channel 'a' in it; it has no channel at all");
  std::string many = begin;
  for (int i = 0; i < 30; ++i)
    many += "$var wire 1 c" + std::to_string(i) + " pin" + std::to_string(i) + " $end ";
  EXPECT_EQ(error_of(many + end, {"lamp"}),
            "capture: no channel 'lamp' in it; there are: pin0, pin1, pin2, pin3, pin4, pin5, pin6, pin7, "
            "pin8, pin9, "
            "pin10, pin11, pin12, pin13, pin14, pin15, pin16, pin17, pin18, pin19, pin20, pin21, pin22, "
            "pin23 and 6 more");
}

TEST(VcdRefusals, NameAMissingFile) {
  try {
    open_recording(std::filesystem::path("/nowhere/capture.vcd"), {});
    FAIL();
  } catch (const RecordingError& e) {
    EXPECT_STREQ(e.what(), "/nowhere/capture.vcd: No such file or directory");
  }
  try {
    open_recording(std::filesystem::path("/"), {});
    FAIL();
  } catch (const RecordingError& e) {
    EXPECT_STREQ(e.what(), "/: it is a folder");
  }
}

TEST(VcdCuts, AreTold) {
  const auto trouble = [](const std::string& text) { return read_text(text, {"D0"}).trouble; };
  EXPECT_EQ(trouble(head + "1!\n#12"),
            "capture:11: the last line, '#12', has no end; the file was cut off there");
  EXPECT_EQ(trouble(head + "1!\n#12\n0!"),
            "capture:12: the last line, '0!', has no end; the file was cut off there");
  EXPECT_EQ(trouble(head + "1!\nb101\n"),
            "capture:11: the file ends between a value and its identifier code");
  EXPECT_EQ(trouble(head + "$comment\nhello\n"), "capture:12: the file ends inside of a $comment");
  EXPECT_EQ(trouble(head + "$dumpvars\n1!\n"), "capture:12: the file ends inside of $dumpvars");
  EXPECT_EQ(trouble(head + "1!\n#12\n"), "");
  EXPECT_EQ(trouble(head + "1!\n#12\n  "), "");
}

// A cut may only go unseen where the text that is left is a recording of its
// own: behind a newline, outside of any block.
TEST(VcdCuts, AtEveryByteAreSeenAndGiveAPrefixOfTheChanges) {
  const std::string text =
      head +
      "$dumpvars\n1!\n0\"\nb1010 #\nr1.5 $\n$end\n#17\n0!\n#142\nbx1 #\n$comment two\nlines $end\n"
      "#1500 1!\nb1\n#\n#1501\n0!\n1\"\n";
  const std::vector<std::string> wanted = {"D0", "D1", "bus[3]"};
  const Recorded whole = read_text(text, wanted);
  ASSERT_EQ(whole.error, "");
  const std::size_t first_record = text.find("#0\n");
  const std::size_t second_time = text.find("#17\n");
  int unseen = 0;
  for (std::size_t size = 0; size < text.size(); ++size) {
    const std::string cut = text.substr(0, size);
    const Recorded r = read_text(cut, wanted);
    if (size < first_record + 3) {
      ASSERT_NE(r.error, "") << size;
      continue;
    }
    ASSERT_EQ(r.error, "") << size;
    const bool in_dumpvars = size >= text.find("$dumpvars\n") + 10 && size < second_time;
    const bool in_comment = size > text.find("$comment") && size < text.find("$end\n#1500");
    const bool in_vector = size == text.find("b1\n#\n") + 3;
    const bool in_line = cut.back() != '\n';
    ASSERT_EQ(r.truncated, in_dumpvars || in_comment || in_vector || in_line) << size;
    unseen += !r.truncated;
    ASSERT_LE(r.changes.size(), whole.changes.size());
    for (std::size_t i = 0; i < r.changes.size(); ++i) {
      // Until the first time is over, levels may still be to come.
      if (size < second_time + 4 && r.changes[i].level == Level::unknown) continue;
      ASSERT_EQ(r.changes[i], whole.changes[i]) << size;
    }
  }
  EXPECT_EQ(unseen, 11);
}

}  // namespace
}  // namespace tachproof
