#include "core/base/foreign_text.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

namespace tachproof {
namespace {

TEST(ForeignText, IsShownAsWhatItIs) {
  EXPECT_EQ(shown("ACME,\x1b]0;owned\x07,1"), "ACME,\\x1b]0;owned\\x07,1");
  EXPECT_EQ(shown("a\xC2\x9B"
                  "31m"),
            "a\\u009b31m");
  EXPECT_EQ(shown("pass\xE2\x80\xAE\xE2\x80\xAA\xE2\x81\xA6\xE2\x81\xA9"),
            "pass\\u202e\\u202a\\u2066\\u2069");
  EXPECT_EQ(shown("a\nb\rc\td\x7f"), "a\\nb\\rc\\td\\x7f");
  EXPECT_EQ(shown("\xFF\xC3"), "\\xff\\xc3");
}

TEST(ForeignText, LeavesLettersOfAllScripts) {
  const std::string text = "caf\xC3\xA9 \xD7\xA9\xD7\x9C\xD7\x95\xD7\x9D \xE6\x97\xA5 \xF0\x9F\x94\xA7";
  EXPECT_EQ(shown(text), text);
  EXPECT_EQ(shown("\xE2\x80\xA9\xE2\x80\xAF\xE2\x81\xA5\xE2\x81\xAA"),
            "\xE2\x80\xA9\xE2\x80\xAF\xE2\x81\xA5\xE2\x81\xAA");  // on either side of those that turn
}

RC_GTEST_PROP(ForeignText, ShownTwiceStaysTheSameAndHoldsNoControl, (const std::string& any)) {
  const std::string once = shown(any);
  RC_ASSERT(shown(once) == once);
  for (const char c : once) RC_ASSERT(static_cast<unsigned char>(c) >= 0x20 && c != 0x7F);
}

}  // namespace
}  // namespace tachproof
