// SHA256SUMS of runs and suites.
#include "bench/record/checksums.h"

#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "bench/record/suite_checksums.h"
#include "tests/bench/error_of.h"

namespace tachproof {
namespace {

const std::string sum(64, 'a');

std::string refused_of_a_run(const std::string& name) {
  return error_of([&] { parse_checksums(sum + "  " + name + "\n"); });
}
std::string refused_of_a_suite(const std::string& name) {
  return error_of([&] { parse_suite_checksums(sum + "  " + name + "\n"); });
}

TEST(Checksums, ReadWhatTheyWrote) {
  const std::vector<FileSum> run{{"result.json", sum}, {"a name.csv", std::string(64, '0')}};
  EXPECT_EQ(parse_checksums(checksums_text(run)), run);
  const std::vector<FileSum> suite{{"suite.json", sum}, {"low/slow@2/SHA256SUMS", sum}};
  EXPECT_EQ(parse_suite_checksums(checksums_text(suite)), suite);
}

TEST(Checksums, SpeakOfTheirOwnFolderOnly) {
  for (const char* name :
       {"/etc/passwd", "../other/result.json", "low/../../x", "low//x", "low/.", "..", ".", "low/", "/"}) {
    EXPECT_EQ(refused_of_a_run(name),
              "SHA256SUMS is not as the run left it: line 1 is not a checksum and a file name")
        << name;
    EXPECT_EQ(refused_of_a_suite(name),
              "SHA256SUMS is not as the suite left it: line 1 is not a checksum and a file name")
        << name;
  }
  EXPECT_NE(refused_of_a_run("low/result.json"), "none") << "a run has no folders in it";
  EXPECT_EQ(refused_of_a_suite("low/result.json"), "none");
}

}  // namespace
}  // namespace tachproof
