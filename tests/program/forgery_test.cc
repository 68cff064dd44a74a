// Seeded forgeries of signed run and suite folders: none is VERIFIED with the key, and of those that leave a
// contradiction in the folder none without it.
//
// A forger is taken to know the program: after a change the journal's seal, the copies' sums and SHA256SUMS
// are made to fit it, as far as the draw says. TACHPROOF_FORGERIES sets how many; a failure names its seed.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>

#include "bench/commands/verifying.h"
#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "bench/run/suite.h"
#include "bench/run/verify.h"
#include "tests/bench/scratch_folder.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/forgeries.h"
#include "tests/program/keys_for_tests.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;
using Kind = Verification::Kind;
using test::below, test::Cover, test::cover_result, test::cover_run, test::cover_suite, test::forge_suite;
using test::forge_suite_files, test::KindOfForgery, test::one_of, test::Random, test::replaced_all;
using test::same_files;

class Forgery : public testing::Test {
 protected:
  void SetUp() override {
    for (const char* folder : {"gauges", "scenarios"}) fs::create_directory(scratch / folder);
    scratch.write("gauges/low.yaml", files::gauge);
    scratch.write("gauges/high.yaml", files::replaced(files::gauge, "pit: 3000", "pit: 3300"));
    scratch.write("scenarios/slow.yaml", files::scenario);
    scratch.write("good.yaml", files::replaced(files::rig, "gauge.yaml", "gauge-under-test"));
    scratch.write("faulty.yaml", files::replaced(files::faulty_rig, "gauge.yaml", "gauge-under-test"));
    scratch.write("KEY.pem", files::private_pem);
    scratch.write("PUB.pem", files::public_pem);
    ASSERT_EQ(
        tachproof("run scenarios --gauge gauges/low.yaml --gauge gauges/high.yaml --rig faulty.yaml --rig "
                  "good.yaml --unit-serial K17 --unit-serial K18 --out suite"),
        1);
    ASSERT_EQ(
        tachproof("run scenarios/slow.yaml --gauge gauges/low.yaml --rig good.yaml --unit-serial K17 --out "
                  "good"),
        0);
    ASSERT_EQ(tachproof("report suite/low/slow --sign KEY.pem"), 0);
    ASSERT_EQ(tachproof("report good --sign KEY.pem"), 0);
    ASSERT_EQ(tachproof("report suite --sign KEY.pem"), 0);
  }
  int tachproof(const std::string& words) {
    const Finished done = run_process(command_line(words), scratch.path());
    if (done.status > 1) ADD_FAILURE() << words << "\n" << done.out << done.err;
    return done.status;
  }
  // An untouched copy to forge.
  fs::path copy(const std::string& folder) {
    fs::remove_all(scratch / "forged");
    fs::copy(scratch / folder, scratch / "forged", fs::copy_options::recursive);
    return scratch / "forged";
  }
  // The outcome; a folder that is refused altogether is not verified either.
  Kind outcome(const fs::path& folder, bool with_key) {
    const VerifyBy by = this_program(with_key ? (scratch / "PUB.pem").string() : "");
    try {
      return (is_suite(folder) ? verify_suite(folder, by) : verify_run(folder, by)).outcome();
    } catch (const std::runtime_error&) {
      return Kind::cannot;
    }
  }
  void expect_not_verified(const fs::path& folder, const std::string& what) {
    EXPECT_NE(outcome(folder, true), Kind::agrees) << what << ", with the key";
    EXPECT_NE(outcome(folder, false), Kind::agrees) << what << ", without a key";
  }
  void forge_a_run(unsigned seed) {
    Random random(seed);
    const KindOfForgery& kind = one_of(random, test::forgeries_of_a_run());
    const bool failing = below(random, 2) == 0;
    const fs::path run = copy(failing ? "suite/low/slow" : "good");
    if (!kind.forge(run, scratch / (failing ? "good" : "suite/low/slow"), random)) return;
    const Cover cover = one_of(random, std::vector<Cover>{Cover::nothing, Cover::sums, Cover::sums_and_seal});
    if (cover == Cover::sums_and_seal && fs::exists(run / "result.json")) cover_result(run);
    // What forges the sums is not covered by new ones.
    if (std::string(kind.name) != "the sums") cover_run(run, cover);
    ++made;
    expect_not_verified(
        run, fmt::format("seed {}: {} of a run, cover {}", seed, kind.name, static_cast<int>(cover)));
  }
  void forge_a_suite(unsigned seed) {
    Random random(seed);
    const fs::path suite = copy("suite");
    const Cover cover = one_of(random, std::vector<Cover>{Cover::nothing, Cover::sums, Cover::sums_and_seal});
    std::string what;
    const std::size_t where = below(random, 3);
    if (where == 0) {
      const KindOfForgery& kind = one_of(random, test::forgeries_of_a_run());
      what = std::string(kind.name) + " of a run in it";
      if (!kind.forge(suite / "low/slow", scratch / "good", random)) return;
      if (std::string(kind.name) != "the sums") cover_run(suite / "low/slow", cover);
    } else if (where == 1) {
      what = "suite.json";
      if (!forge_suite(suite, random)) return;
    } else {
      what = "a file of it";
      if (!forge_suite_files(suite, random)) return;
    }
    if (fs::file_size(suite / checksums_name) > 0) cover_suite(suite, cover);
    if (same_files(suite, scratch / "suite")) return;
    ++made;
    expect_not_verified(suite,
                        fmt::format("seed {}: a suite, {}, cover {}", seed, what, static_cast<int>(cover)));
  }

  ScratchFolder scratch;
  int made = 0;
};

TEST_F(Forgery, OfARunOrASuiteIsNeverVerified) {
  ASSERT_EQ(outcome(scratch / "good", true), Kind::agrees);
  ASSERT_EQ(outcome(scratch / "suite", true), Kind::agrees);
  const char* const wanted = std::getenv("TACHPROOF_FORGERIES");
  const int count = wanted != nullptr ? std::atoi(wanted) : 60;
  for (unsigned seed = 1; made < count && !HasFailure(); ++seed)
    seed % 2 == 0 ? forge_a_suite(seed) : forge_a_run(seed);
  RecordProperty("forgeries", made);
}

// Everything fits together: no contradiction is left, and only the key tells.
TEST_F(Forgery, ThatLeavesNoContradictionIsToldByTheKeyAlone) {
  const fs::path run = copy("good");
  for (const char* name : {"result.json", "journal.jsonl", "report.html", "junit.xml"})
    test::write(run / name, replaced_all(whole_file(run / name), "K17", "K99"));
  cover_run(run, Cover::sums_and_seal);
  EXPECT_EQ(outcome(run, false), Kind::agrees);
  EXPECT_EQ(outcome(run, true), Kind::differs);
}

}  // namespace
}  // namespace tachproof
