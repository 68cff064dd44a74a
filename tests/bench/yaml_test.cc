// The strict layer over the YAML library. Each lenience of yaml-cpp 0.7 that
// field-notes.md lists has a test here or in the cases.
#include "bench/files/yaml_tree.h"

#include <gmock/gmock.h>
#include <rapidcheck/gtest.h>
#include <sys/stat.h>

#include <filesystem>
#include <fstream>

#include "bench/files/yaml_walk.h"

namespace tachproof {
namespace {

// The errors of a text, one on a line; empty for sound YAML.
std::string trouble(const std::string& text) {
  ErrorList errors("f.yaml");
  const bool sound = parse_yaml(text, errors).has_value();
  EXPECT_EQ(sound, errors.empty());
  return FileErrors(errors.sorted()).what();
}

std::string read_trouble(const std::string& file) {
  ErrorList errors("f.yaml");
  read_file(file, errors);
  return FileErrors(errors.sorted()).what();
}

TEST(Yaml, CountsLinesAndColumnsFromOneInCharacters) {
  ErrorList errors("f.yaml");
  const std::optional<YamlTree> tree = parse_yaml("\xEF\xBB\xBF# é\r\nключ: {é: [ü, 'x']}\r\n", errors);
  ASSERT_TRUE(tree);
  ASSERT_EQ(tree->root->entries.size(), 1U);
  const YamlNode& inner = *tree->root->entries[0].value;
  EXPECT_EQ(inner.at.line, 2);
  EXPECT_EQ(inner.at.column, 7);
  const YamlNode& x = *inner.entries.at(0).value->items.at(1);
  EXPECT_EQ(x.at.line, 2);
  EXPECT_EQ(x.at.column, 15);
  EXPECT_EQ(x.text, "x");
  EXPECT_TRUE(x.quoted);
}

TEST(Yaml, RefusesASecondDocument) {
  EXPECT_EQ(trouble("a: 1\n---\nb: 2\n"), "f.yaml:2:1: a second document; one document in a file");
  EXPECT_EQ(trouble("a: 1\n...\nb: 2\n"), "f.yaml:3:1: a second document; one document in a file");
  EXPECT_EQ(trouble("---\n---\na: 1\n"), "f.yaml:2:1: a second document; one document in a file");
}

TEST(Yaml, AllowsTheMarksAroundTheOneDocument) { EXPECT_EQ(trouble("%YAML 1.2\n---\na: 1\n...\n"), ""); }

TEST(Yaml, RefusesAnEmptyFile) {
  EXPECT_EQ(trouble(""), "f.yaml:1:1: an empty file; format, kind and what the kind needs");
  EXPECT_EQ(trouble("# only a comment\n"), "f.yaml:1:1: an empty file; format, kind and what the kind needs");
}

TEST(Yaml, RefusesQuotesThatNeverClose) {
  EXPECT_EQ(trouble("a: 'abc\nb: 1\n"), "f.yaml:1:4: a quote that never closes; a closing quote");
  EXPECT_EQ(trouble("a: \"abc\nb: 1\n"), "f.yaml:1:4: a quote that never closes; a closing quote");
  EXPECT_EQ(trouble("a: &x 'it''s\n"), "f.yaml:1:7: a quote that never closes; a closing quote");
  EXPECT_EQ(trouble("a: \"abc\\\"\n"), "f.yaml:1:4: a quote that never closes; a closing quote");
  EXPECT_EQ(trouble("a: 'it''s'\nb: \"x\\\"y\"\nc: &q ! 'z'\n"), "");
}

TEST(Yaml, RefusesTextThatIsNoUtf8) {
  const std::string message = "f.yaml:2:5: a byte that is not UTF-8; a text file in UTF-8";
  EXPECT_EQ(trouble("a: 1\nb: x\xFF\n"), message);
  EXPECT_EQ(trouble("a: 1\nb: x\xC3(\n"), message);
  EXPECT_EQ(trouble("a: 1\nb: x\xED\xA0\x80\n"), message);      // a surrogate
  EXPECT_EQ(trouble("a: 1\nb: x\xC0\xAF\n"), message);          // overlong
  EXPECT_EQ(trouble("a: 1\nb: x\xF4\x90\x80\x80\n"), message);  // beyond U+10FFFF
  EXPECT_EQ(trouble("a: 1\nb: x\xE2\x82"), message);            // cut short
}

TEST(Yaml, RefusesBinary) {
  EXPECT_EQ(trouble(std::string("a: 1\0", 5)),
            "f.yaml:1:5: a control character, \\x00; a text file in UTF-8");
  EXPECT_EQ(trouble("a: \x1b[0m\n"), "f.yaml:1:4: a control character, \\x1b; a text file in UTF-8");
  EXPECT_EQ(trouble("a: \xC2\x85\n"), "f.yaml:1:4: a control character, \\u0085; a text file in UTF-8");
  EXPECT_EQ(trouble("a: \xE2\x80\xAE\n"), "f.yaml:1:4: a control character, \\u202e; a text file in UTF-8");
}

TEST(Yaml, RefusesTagsAndKeysThatAreNoText) {
  EXPECT_EQ(trouble("a: !!int 5\n"), "f.yaml:1:4: the tag 'tag:yaml.org,2002:int'; values without tags");
  EXPECT_EQ(trouble("? [1]\n: 2\n"),
            "f.yaml:1:3: a key that is not text; keys of plain text, and brackets that close");
  EXPECT_EQ(trouble("~: 2\n"),
            "f.yaml:1:1: a key that is not text; keys of plain text, and brackets that close");
  EXPECT_EQ(trouble("a: &x [1]\n*x : 2\n"),
            "f.yaml:2:1: a key that is not text; keys of plain text, and brackets that close");
}

TEST(Yaml, PutsTheLibrarysComplaintsOnOneLine) {
  EXPECT_EQ(trouble("a: [1,2\nb: 3\n"),
            "f.yaml:2:2: not YAML: end of sequence flow not found; check quotes, brackets and indentation");
  EXPECT_EQ(
      trouble("a: *z\n"),
      "f.yaml:1:4: not YAML: the referenced anchor is not defined; check quotes, brackets and indentation");
}

TEST(Yaml, SaysItselfWhenNestingIsTooDeep) {
  const std::string message = "f.yaml:1:65: values nested more than 64 deep; at most that deep";
  EXPECT_EQ(trouble(std::string(64, '[') + "1" + std::string(64, ']')), message);
  EXPECT_EQ(trouble(std::string(100'000, '[') + "1" + std::string(100'000, ']')), message);
  EXPECT_EQ(trouble(std::string(63, '[') + "1" + std::string(63, ']')), "");
}

TEST(Yaml, CountsTheDepthThatAliasesBring) {
  std::string text = "a0: &a0 [1]\n";
  for (int i = 1; i <= 70; ++i)
    text += "a" + std::to_string(i) + ": &a" + std::to_string(i) + " [*a" + std::to_string(i - 1) + "]\n";
  EXPECT_EQ(trouble(text), "f.yaml:63:12: values nested more than 64 deep; at most that deep");
}

// The classic: 9 levels of 9 aliases are 9^9 leaves in a few hundred bytes.
TEST(Yaml, StopsAnAliasBombAtTheBudget) {
  std::string text = "a: &a [x, x, x, x, x, x, x, x, x]\n";
  for (char c = 'b'; c <= 'i'; ++c) {
    const std::string alias = std::string("*") + static_cast<char>(c - 1);
    text += std::string(1, c) + ": &" + c + " [";
    for (int i = 0; i < 9; ++i) text += (i == 0 ? "" : ", ") + alias;
    text += "]\n";
  }
  EXPECT_EQ(trouble(text),
            "f.yaml:7:8: more than 1000000 values, aliases expanded; a file of at most that many");
}

// Keys are compared one with another: a mapping of a million would take hours.
TEST(Yaml, LimitsTheKeysOfOneMapping) {
  std::string text;
  for (int i = 0; i < 256; ++i) text += "k" + std::to_string(i) + ": 1\n";
  EXPECT_EQ(trouble(text), "");
  EXPECT_EQ(trouble(text + "more: 1\n"), "f.yaml:257:1: a mapping of more than 256 keys; at most that many");
}

TEST(Yaml, RefusesAnAliasInsideWhatItStandsFor) {
  EXPECT_EQ(
      trouble("&a [*a]"),
      "f.yaml:1:5: an alias inside the value that it stands for; aliases of values that end before them");
}

TEST(Yaml, SharesWhatAnAliasStandsFor) {
  ErrorList errors("f.yaml");
  const std::optional<YamlTree> tree = parse_yaml("a: &x {b: 1}\nc: *x\n", errors);
  ASSERT_TRUE(tree);
  EXPECT_EQ(tree->root->entries.at(0).value, tree->root->entries.at(1).value);
}

TEST(Yaml, PlacesAHundredThousandValuesOnOneLine) {
  std::string text = "a: [";
  for (int i = 0; i < 100'000; ++i) text += "1,";
  ErrorList errors("f.yaml");
  const std::optional<YamlTree> tree = parse_yaml(text + "1]\n", errors);
  ASSERT_TRUE(tree);
  EXPECT_EQ(tree->root->entries[0].value->items.back()->at.column, 200'005);
}

class YamlFile : public ::testing::Test {
 protected:
  YamlFile() { std::filesystem::create_directories(folder_); }
  std::string folder_ = ::testing::TempDir() + "yaml_file_test";
};

TEST_F(YamlFile, OfFiftyMegabytesIsRefusedWithoutReadingIt) {
  const std::string file = folder_ + "/big.yaml";
  { std::ofstream{file} << "a"; }
  std::filesystem::resize_file(file, 50 * 1024 * 1024);  // a hole: no such data on the disk
  EXPECT_EQ(read_trouble(file), "f.yaml: a file of 50 MB; a text file in UTF-8 of at most 4 MB");
}

TEST_F(YamlFile, MustBeARegularFileThatIsThere) {
  EXPECT_EQ(read_trouble(folder_ + "/none.yaml"),
            "f.yaml: no such file; the path of an existing file, from the folder you are in");
  EXPECT_EQ(read_trouble(folder_), "f.yaml: a folder; a text file in UTF-8 of at most 4 MB");
  EXPECT_EQ(read_trouble("/dev/null"), "f.yaml: not a regular file; a text file in UTF-8 of at most 4 MB");
  EXPECT_EQ(read_trouble(folder_ + "/none/none.yaml"),
            "f.yaml: no such file; the path of an existing file, from the folder you are in");
}

TEST_F(YamlFile, ThatIsAPipeDoesNotBlock) {
  const std::string pipe = folder_ + "/pipe";
  std::filesystem::remove(pipe);
  ASSERT_EQ(mkfifo(pipe.c_str(), 0600), 0);
  EXPECT_EQ(read_trouble(pipe), "f.yaml: not a regular file; a text file in UTF-8 of at most 4 MB");
}

// ---- scalars -----------------------------------------------------------------

YamlNode plain(const std::string& text) {
  YamlNode node;
  node.kind = YamlNode::Kind::scalar;
  node.text = text;
  return node;
}

TEST(YamlNumber, IsAPlainDecimal) {
  EXPECT_EQ(plain_number(plain("0")), 0);
  EXPECT_EQ(plain_number(plain("-12.5")), -12.5);
  EXPECT_EQ(plain_number(plain("+3")), 3);
  EXPECT_EQ(plain_number(plain("1e-5")), 1e-5);
  EXPECT_EQ(plain_number(plain("1.5E+3")), 1500);
}

TEST(YamlNumber, IsNothingElse) {
  for (const char* text :
       {"",      "-",        "+",    ".",  ".5",   "5.",    "010",  "08",   "0x10",  "0o7",
        "1_000", "1,5",      "6:30", "1e", "1e+",  "e5",    ".nan", ".inf", "nan",   "inf",
        "-inf",  "infinity", "1 ",   " 1", "65OO", "1.2.3", "+-1",  "true", "1e999", "\xD9\xA1"})
    EXPECT_EQ(plain_number(plain(text)), std::nullopt) << text;
  YamlNode in_quotes = plain("7");
  in_quotes.quoted = true;
  EXPECT_EQ(plain_number(in_quotes), std::nullopt);
}

RC_GTEST_PROP(YamlNumber, ReadsBackWhatIsWritten, (int mantissa, int exponent)) {
  const std::string text = std::to_string(mantissa) + "e" + std::to_string(exponent % 290);  // no overflow
  RC_ASSERT(plain_number(plain(text)) == std::stod(text));
}

TEST(YamlDuration, HasAUnit) {
  EXPECT_EQ(plain_duration(plain("20us")), 20'000);
  EXPECT_EQ(plain_duration(plain("250ms")), 250'000'000);
  EXPECT_EQ(plain_duration(plain("0.1s")), 100'000'000);
  EXPECT_EQ(plain_duration(plain("1.5e1s")), 15 * ns_per_s);
  EXPECT_EQ(plain_duration(plain("5min")), 300 * ns_per_s);
  EXPECT_EQ(plain_duration(plain("24h")), 86'400 * ns_per_s);
  for (const char* text :
       {"", "s", "10", "10 s", "10S", "10sec", "1h30min", "1:30", "010s", "ms10", "10d", "1_0s", "infs"})
    EXPECT_EQ(plain_duration(plain(text)), std::nullopt) << text;
}

}  // namespace
}  // namespace tachproof
