// The readers by their cases, and by the files that ship.
#include "bench/files/files.h"

#include <gmock/gmock.h>

#include <filesystem>
#include <fstream>

#include "bench/files/readers.h"
#include "tests/bench/files_cases.h"

namespace tachproof {
namespace {

using ::testing::ElementsAre;

// Errors as "line:column: message", other files' with their name in front.
std::vector<std::string> errors_of(const std::string& text, const std::string& beside) {
  const std::string file = source_path(beside);
  std::vector<std::string> lines;
  for (const FileError& e : check_text(file, text).errors) {
    const std::string line = to_line(e);
    lines.push_back(line.starts_with(file + ":") ? line.substr(file.size() + 1) : line);
  }
  return lines;
}

class FileCases : public ::testing::TestWithParam<const char*> {};

TEST_P(FileCases, GiveTheirWholeMessages) {
  for (const FileCase& c : file_cases(GetParam())) {
    SCOPED_TRACE(c.title);
    EXPECT_EQ(errors_of(c.text, "fixtures/rigs/case.yaml"), c.errors) << c.text;
  }
}

INSTANTIATE_TEST_SUITE_P(Kinds, FileCases,
                         ::testing::Values("gauge", "scenario", "noise", "wiring", "rig", "certificate",
                                           "regions", "job"),
                         [](const auto& kind) { return std::string(kind.param); });

TEST(Files, ThatShipAreSound) {
  std::size_t files = 0;
  for (const char* folder : {"fixtures/gauges", "fixtures/rigs", "fixtures/wirings", "fixtures/noise",
                             "fixtures/certificates", "fixtures/jobs", "scenarios"})
    for (const auto& entry : std::filesystem::directory_iterator(source_path(folder))) {
      if (entry.path().extension() != ".yaml") continue;
      const CheckedFile checked = check_file(entry.path());
      EXPECT_EQ(FileErrors(checked.errors).what(), std::string()) << entry.path();
      EXPECT_NE(checked.kind, "");
      ++files;
    }
  EXPECT_GE(files, 15U);
}

TEST(Files, OfAnotherKindAreRefusedByTheirLoader) {
  const std::string file = source_path("fixtures/gauges/drumlin.yaml");
  try {
    load_scenario(file);
    FAIL();
  } catch (const FileErrors& e) {
    EXPECT_EQ(e.what(), file +
                            ":2:7: a gauge file in place of a scenario file; a file with kind: scenario; "
                            "were two files swapped on "
                            "the command line?");
  }
}

TEST(Files, GiveAllErrorsOneOnALineInTheirOrder) {
  const std::string folder = ::testing::TempDir() + "files_all_errors";
  std::filesystem::create_directories(folder);
  const std::string file = folder + "/noise.yaml";
  std::ofstream(file) << "format: 1\nkind: noise\nmissing: 2\njiter_us: 3\nwander_rpm: x\nwander_s: 1\n";
  try {
    load_noise(file);
    FAIL();
  } catch (const FileErrors& e) {
    EXPECT_EQ(e.what(), file + ":3:10: 'missing' is '2'; a number from 0 to 0.5\n" + file +
                            ":4:1: unknown key 'jiter_us'; did you mean 'jitter_us'?\n" + file +
                            ":5:13: 'wander_rpm' is 'x'; a number from 0 to 1000");
    EXPECT_EQ(e.errors.size(), 3U);
  }
}

TEST(Files, OfAUnitKeepTheirOwnNameInARigsErrors) {
  const std::string folder = ::testing::TempDir() + "files_unit_errors";
  std::filesystem::create_directories(folder);
  std::ofstream(folder + "/unit.yaml")
      << case_text("gauge", "A misspelt key names its neighbour and is not missing as well");
  std::ofstream(folder + "/rig.yaml") << "format: 1\nkind: rig\nsource: {kind: board, prt: 1}\n"
                                         "watch: {kind: simulated, unit: unit.yaml}\n";
  EXPECT_STREQ(FileErrors(check_file(folder + "/rig.yaml").errors).what(),
               (folder + "/rig.yaml:3:23: unknown key 'prt'; did you mean 'port'?\n" + folder +
                "/unit.yaml:19:1: unknown key 'tolarance'; did you mean 'tolerance'?")
                   .c_str());
}

TEST(Files, ThatAreFullOfErrorsShowTheFirstHundred) {
  std::string text = "format: 1\nkind: noise\n";
  for (int i = 0; i < 150; ++i) text += "unheard-of-" + std::to_string(i) + ": 1\n";
  const std::vector<std::string> errors = errors_of(text, "many.yaml");
  ASSERT_EQ(errors.size(), 101U);
  EXPECT_EQ(errors.back(), " 50 more errors; the first 100 are shown");
}

TEST(Files, WithoutAKindOfOursSayWhichThereAre) {
  EXPECT_THAT(errors_of("format: 1\n", "x.yaml"),
              ElementsAre("1:1: no 'kind' in a file of Tachproof; allowed: gauge, scenario, rig, wiring, "
                          "noise, certificate, regions, job"));
  EXPECT_THAT(
      errors_of("kind: [gauge]\n", "x.yaml"),
      ElementsAre(
          "1:7: 'kind' is a list; allowed: gauge, scenario, rig, wiring, noise, certificate, regions, job"));
  EXPECT_THAT(errors_of("just words\n", "x.yaml"),
              ElementsAre("1:1: 'just words' in place of a file of Tachproof; a mapping of keys to values"));
  EXPECT_EQ(check_text("x.yaml", "format: 9\nkind: rig\n").kind, "rig");
  EXPECT_EQ(check_text("x.yaml", "kind: engine\n").kind, "");
}

}  // namespace
}  // namespace tachproof
