// SHA256SUMS of runs and suites.
#include "bench/record/checksums.h"

#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "tests/bench/error_of.h"

namespace tachproof {
namespace {

const std::string sum(64, 'a');

std::string refused(const std::string& name, SumsOf of) {
  return error_of([&] { parse_checksums(sum + "  " + name + "\n", of); });
}

TEST(Checksums, ReadWhatTheyWrote) {
  const std::vector<FileSum> run{{"result.json", sum}, {"a name.csv", std::string(64, '0')}};
  EXPECT_EQ(parse_checksums(checksums_text(run)), run);
  const std::vector<FileSum> suite{{"suite.json", sum}, {"low/slow@2/SHA256SUMS", sum}};
  EXPECT_EQ(parse_checksums(checksums_text(suite), SumsOf::suite), suite);
}

TEST(Checksums, SpeakOfTheirOwnFolderOnly) {
  for (const char* name :
       {"/etc/passwd", "../other/result.json", "low/../../x", "low//x", "low/.", "..", ".", "low/", "/"}) {
    EXPECT_EQ(refused(name, SumsOf::run),
              "SHA256SUMS is not as the run left it: line 1 is not a checksum and a file name")
        << name;
    EXPECT_EQ(refused(name, SumsOf::suite),
              "SHA256SUMS is not as the suite left it: line 1 is not a checksum and a file name")
        << name;
  }
  EXPECT_NE(refused("low/result.json", SumsOf::run), "none") << "a run has no folders in it";
  EXPECT_EQ(refused("low/result.json", SumsOf::suite), "none");
}

}  // namespace
}  // namespace tachproof
