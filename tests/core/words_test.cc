#include "core/base/words.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <string>
#include <vector>

namespace tachproof {
namespace {

TEST(NumberText, IsWhatAPersonWouldWrite) {
  EXPECT_EQ(number_text(3720), "3720");
  EXPECT_EQ(number_text(100000), "100000");
  EXPECT_EQ(number_text(0.4), "0.4");
  EXPECT_EQ(number_text(-12.5), "-12.5");
  EXPECT_EQ(number_text(1e-9), "1e-09");
  EXPECT_EQ(number_text(0), "0");
}

RC_GTEST_PROP(NumberText, ReadsBackAsTheSameNumber, (double x)) { RC_ASSERT(std::stod(number_text(x)) == x); }

TEST(Names, AreLettersDigitsAndThreeMarks) {
  for (const char* name : {"left", "on-limit", "rim_2", "v1.5", "7", "ö-lämp", "синий", "限界"})
    EXPECT_TRUE(is_name(name)) << name;
  for (const char* text : {"", "two words", "a\tb", "a\nb", "a:b", "a/b", "a'b", "\xC2\xA0", "\xE2\x80\x8B",
                           "\xE2\x80\xAE", "\xEF\xBB\xBF", "x\xFF", "\xC3", "\xF0\x9F\x9A\xA6"})
    EXPECT_FALSE(is_name(text)) << text;
  EXPECT_TRUE(is_name(std::string(64, 'x')));
  EXPECT_FALSE(is_name(std::string(65, 'x')));
}

TEST(Nearest, FindsTheWordThatWasMeant) {
  const std::vector<std::string> keys{"format", "kind", "name", "tolerance", "deadband", "for", "rpm"};
  EXPECT_EQ(nearest("tolarance", keys), "tolerance");
  EXPECT_EQ(nearest("Kind", keys), "kind");
  EXPECT_EQ(nearest("four", keys), "for");
  EXPECT_EQ(nearest("rmp", keys), "rpm");
  EXPECT_EQ(nearest("daedband", keys), "deadband");
  EXPECT_EQ(nearest("", keys), "");
  EXPECT_EQ(nearest("x", keys), "");
  EXPECT_EQ(nearest("colour", keys), "");
  EXPECT_EQ(nearest("kind", {}), "");
}

RC_GTEST_PROP(Nearest, FindsAWordBehindAnySingleEdit, ()) {
  const std::vector<std::string> words{"tolerance", "deadband", "pulses_per_rev", "anchors"};
  const std::string meant = *rc::gen::elementOf(words);
  std::string typed = meant;
  const auto at = static_cast<std::size_t>(*rc::gen::inRange<int>(0, static_cast<int>(typed.size())));
  switch (*rc::gen::inRange(0, 3)) {
    case 0: typed.erase(at, 1); break;
    case 1: typed.insert(at, 1, *rc::gen::inRange('a', 'z')); break;
    default: typed[at] = *rc::gen::inRange('a', 'z'); break;
  }
  RC_ASSERT(nearest(typed, words) == meant);
}

}  // namespace
}  // namespace tachproof
