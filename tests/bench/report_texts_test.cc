#include "bench/record/text.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <limits>

#include "bench/record/json_values.h"

namespace tachproof {
namespace {

using testing::ElementsAre;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

RC_GTEST_PROP(ReportText, ValidUtf8IsReachedAtOnce, (const std::string& any)) {
  const std::string once = valid_utf8(any);
  RC_ASSERT(valid_utf8(once) == once);
}

// Well-formed and ill-formed sequences: Unicode 15, table 3-7.
TEST(ReportText, KeepsWellFormedUtf8AndShowsOtherBytes) {
  EXPECT_EQ(valid_utf8("caf\xC3\xA9 \xE2\x82\xAC \xF0\x9F\x94\xA7"),
            "caf\xC3\xA9 \xE2\x82\xAC \xF0\x9F\x94\xA7");
  EXPECT_EQ(valid_utf8("\x80"), "\\x80");                             // a lone continuation
  EXPECT_EQ(valid_utf8("\xC0\xAF"), "\\xc0\\xaf");                    // overlong
  EXPECT_EQ(valid_utf8("\xED\xA0\x80"), "\\xed\\xa0\\x80");           // a surrogate
  EXPECT_EQ(valid_utf8("\xF4\x90\x80\x80"), "\\xf4\\x90\\x80\\x80");  // too high
  EXPECT_EQ(valid_utf8("\xE2\x82"), "\\xe2\\x82");                    // cut short
}

// XML 1.0, section 2.2: what a document may hold.
TEST(ReportText, ShowsAsWhatItIsWhatXmlAndTerminalsMustNotSee) {
  EXPECT_EQ(printable(std::string("a\0b\x1b[31mc\x07\x7f", 11)), "a\\x00b\\x1b[31mc\\x07\\x7f");
  EXPECT_EQ(printable("a\r\nb\tc"), "a  b c");
  EXPECT_EQ(printable("a\xEF\xBF\xBE\xEF\xBF\xBF"
                      "b"),
            "a\\ufffe\\uffffb");
  EXPECT_EQ(printable("a\xC2\x9B"
                      "b"),
            "a\\u009bb");  // the one-byte CSI of C1
}

// What JSON escapes reads back as the character it was: RFC 8259, section 7.
TEST(ReportText, JsonHoldsNoControlCharacterAsItself) {
  const std::string evil = "\x1b[31m\x7f\xC2\x9B\xE2\x80\xAE\xE2\x81\xA6 caf\xC3\xA9";
  const std::string text = json_text(Json{{"name", evil}});
  EXPECT_EQ(text, "{\"name\":\"\\u001b[31m\\u007f\\u009b\\u202e\\u2066 caf\xC3\xA9\"}");
  EXPECT_EQ(Json::parse(text)["name"].get<std::string>(), evil);
}

TEST(ReportText, JsonOfBytesThatAreNoUtf8IsJson) {
  const Json json = {{"identity",
                      "a\xFF"
                      "b"},
                     {"lists", Json::array({Json{{"k\xC3", "\x80"}}, 3})}};
  EXPECT_EQ(json_text(json), R"({"identity":"a\\xffb","lists":[{"k\\xc3":"\\x80"},3]})");
  EXPECT_EQ(json_text(Json{{"n", 1}}, 2), "{\n  \"n\": 1\n}");
}

TEST(ReportText, EscapesEveryCharacterThatMarkupKnows) {
  EXPECT_EQ(escaped("<b>&\"'</b>"), "&lt;b&gt;&amp;&quot;&#39;&lt;/b&gt;");
}

TEST(ReportText, WrapsAtBlanksAndBreaksLongWords) {
  EXPECT_THAT(wrapped("one two three", 7), ElementsAre("one two", "three"));
  EXPECT_THAT(wrapped("a abcdefgh b", 3), ElementsAre("a", "abc", "def", "gh", "b"));
  EXPECT_THAT(wrapped("", 5), ElementsAre(""));
}

RC_GTEST_PROP(ReportText, WrappingLosesNoWordsAndKeepsTheWidth, ()) {
  const auto words = *rc::gen::container<std::vector<std::string>>(
      rc::gen::nonEmpty(rc::gen::container<std::string>(rc::gen::inRange('a', 'z'))));
  const auto width = *rc::gen::inRange<std::size_t>(1, 30);
  std::string text;
  std::string letters;
  for (const std::string& word : words) {
    text += word + " ";
    letters += word;
  }
  std::string found;
  for (const std::string& line : wrapped(text, width)) {
    RC_ASSERT(code_points(line) <= width);
    for (const char c : line)
      if (c != ' ') found += c;
  }
  RC_ASSERT(found == letters);
}

TEST(ReportText, NumbersHaveNoNegativeZeroAndNoNan) {
  EXPECT_EQ(fixed(-0.001, 2), "0.00");
  EXPECT_EQ(fixed(-0.01, 2), "-0.01");
  EXPECT_EQ(fixed(nan, 2), "n/a");
  EXPECT_EQ(fixed(-std::numeric_limits<double>::infinity(), 2), "n/a");
  EXPECT_EQ(with_sign(3, 1), "+3.0");
  EXPECT_EQ(with_sign(-3, 1), "-3.0");
  EXPECT_EQ(with_sign(0.001, 1), "0.0");
}

// JCGM 100:2008, 7.2.6: at most two significant digits for an uncertainty.
TEST(ReportText, DecimalsShowTwoDigitsOfAnUncertainty) {
  EXPECT_EQ(decimals_for(12), 0);
  EXPECT_EQ(decimals_for(3), 1);
  EXPECT_EQ(decimals_for(0.42), 2);
  EXPECT_EQ(decimals_for(0.042), 3);
  EXPECT_EQ(decimals_for(1e-9), 4);
  EXPECT_EQ(decimals_for(nan, 1), 1);
}

RC_GTEST_PROP(ReportText, SecondsReadBackToTheSameNanosecond, ()) {
  const Nanos t = *rc::gen::inRange<Nanos>(-8'000'000'000 * ns_per_s, 8'000'000'000 * ns_per_s);
  Nanos back = 0;
  RC_ASSERT(parse_seconds(exact_seconds(t), back));
  RC_ASSERT(back == t);
}

TEST(ReportText, RefusesSecondsThatAreWrittenOtherwise) {
  EXPECT_EQ(exact_seconds(-1), "-0.000000001");
  Nanos t = 0;
  for (const char* text : {"", "1", "1.", "1.5", ".000000000", "1.0000000000", "1.00000000x", "--1.000000000",
                           "1.-00000001", "99999999999.000000000", "-"})
    EXPECT_FALSE(parse_seconds(text, t)) << text;
}

}  // namespace
}  // namespace tachproof
