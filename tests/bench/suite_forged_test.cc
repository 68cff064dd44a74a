// suite.json is believed no further than the run folders go.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>

#include "bench/record/disk.h"
#include "bench/record/suite_checksums.h"
#include "bench/reports/run_report.h"
#include "bench/run/suite.h"
#include "tests/bench/scripted_suite.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;
using test::Bench, test::ends, test::four_pairs, test::pair_of, test::Suite, test::suite_of, test::sum;
using testing::ElementsAre;
using testing::HasSubstr;

class ForgedSuite : public Suite {
 protected:
  // One pair passes, one fails.
  void SetUp() override {
    record = suite_of({pair_of("kame", "idle"), pair_of("kame", "lane")});
    Bench bench({ends(Verdict::pass), ends(Verdict::fail)});
    play(record, bench);
    ASSERT_EQ(load_suite(folder()).verdict(), Verdict::fail);
  }
  // Writes the record, and sums that fit it: what a forger would do who knows the program.
  SuiteRecord forged() {
    std::ofstream(folder() / "suite.json") << suite_json(record);
    std::vector<std::string> names;
    for (const FileSum& s : parse_suite_checksums(whole_file(folder() / "SHA256SUMS")))
      names.push_back(s.file);
    std::ofstream(folder() / "SHA256SUMS") << checksums_text(sums_of(folder(), names));
    return load_suite(folder());
  }
  Attempt& failed() { return record.pairs[1].attempts[0]; }
  SuiteRecord record;
};

TEST_F(ForgedSuite, AnAttemptWithoutItsFolderIsUndecided) {
  failed().folder.clear();
  failed().verdict = Verdict::pass;
  const SuiteRecord read = forged();
  EXPECT_EQ(read.verdict(), Verdict::undecided);
  EXPECT_EQ(read.pairs[1].attempts[0].verdict, Verdict::undecided);
  EXPECT_EQ(read.pairs[1].attempts[0].reason,
            "kame/lane is said to be pass, but there is no run folder that shows it.");
}

TEST_F(ForgedSuite, AFolderOfAnotherPairIsRefused) {
  failed() = record.pairs[0].attempts[0];
  EXPECT_EQ(forged().verdict(), Verdict::undecided);
  EXPECT_EQ(forged().pairs[1].attempts[0].reason, "kame/idle is not a folder of kame/lane.");
}

TEST_F(ForgedSuite, ARunOfOtherFilesInThePairsFolderIsRefused) {
  SuiteRecord other = suite_of({pair_of("kame", "lane")});
  other.pairs[0].inputs[2].sha256 = sum('9');  // another rig
  Bench bench;
  fs::create_directories(scratch.path() / "other");
  play_suite(other, scratch.path() / "other", bench.hooks(other));
  fs::remove_all(folder() / "kame/lane");
  fs::rename(scratch.path() / "other/kame/lane", folder() / "kame/lane");
  failed() = other.pairs[0].attempts[0];
  const SuiteRecord read = forged();
  EXPECT_EQ(read.verdict(), Verdict::undecided);
  EXPECT_THAT(read.pairs[1].attempts[0].reason, HasSubstr("is a run of another gauge, scenario, rig"));
}

TEST_F(ForgedSuite, PairsThatAreDroppedAreMissed) {
  record.pairs.pop_back();
  EXPECT_EQ(forged().verdict(), Verdict::undecided);
  EXPECT_THAT(suite_end(forged(), 200, false),
              HasSubstr("suite.json does not list the pairs that were planned"));
}

TEST_F(ForgedSuite, AFailCannotBeHidden) {
  const SuiteRecord whole = record;
  record.pairs[1].skipped_because = "nobody wanted it";
  EXPECT_EQ(forged().verdict(), Verdict::undecided) << "said to be skipped";
  record.pairs[1].attempts.clear();
  EXPECT_EQ(forged().verdict(), Verdict::undecided) << "and not played";
  record.pairs[1].set_aside = {"kame/lane"};
  record.pairs[1].skipped_because.clear();
  record.pairs[1].attempts = {record.pairs[0].attempts[0]};
  EXPECT_EQ(forged().verdict(), Verdict::undecided) << "set aside";
  EXPECT_THAT(forged().doubts, testing::Contains("kame/lane is said to be of other files, but is a run of "
                                                 "these: fail."));
  record = whole;
  record.pairs[1].shard = 2;
  record.shards = 2;
  EXPECT_EQ(forged().verdict(), Verdict::undecided) << "another shard's";
}

// Of several attempts the one that failed.
TEST_F(ForgedSuite, AFailedAttemptCannotBeMadeOneThatTheBenchCouldNotDecide) {
  fs::remove_all(folder());
  SuiteRecord again = suite_of({pair_of("kame", "lane")});
  again.retry = {2, true};
  Bench bench({ends(Verdict::fail), ends(Verdict::pass)});
  play(again, bench);
  record = again;
  ASSERT_EQ(forged().verdict(), Verdict::fail);
  record.pairs[0].attempts[0].verdict = Verdict::undecided;
  record.pairs[0].attempts[0].complete = false;
  EXPECT_EQ(forged().verdict(), Verdict::undecided);
  record.pairs[0].attempts.erase(record.pairs[0].attempts.begin());
  EXPECT_EQ(forged().verdict(), Verdict::undecided);
  EXPECT_THAT(forged().doubts, ElementsAre("kame/lane is in the folder, and suite.json does not name it."));
}

TEST_F(ForgedSuite, SuiteJsonThatItsSumDoesNotFitIsNoPass) {
  fs::remove_all(folder());
  record = four_pairs();
  Bench bench;
  play(record, bench);
  std::ofstream(folder() / "suite.json", std::ios::app) << " ";
  EXPECT_EQ(load_suite(folder()).verdict(), Verdict::undecided);
  fs::remove(folder() / "SHA256SUMS");
  EXPECT_EQ(load_suite(folder()).verdict(), Verdict::undecided);
}

TEST_F(ForgedSuite, ResumeBelievesNoRunThatIsNotThere) {
  for (SuitePair& pair : record.pairs)
    for (Attempt& attempt : pair.attempts) {
      attempt.folder.clear();
      attempt.verdict = Verdict::pass;
    }
  forged();
  fs::remove_all(folder() / "kame");
  SuiteRecord after = suite_of({pair_of("kame", "idle"), pair_of("kame", "lane")});
  Bench bench({ends(Verdict::pass), ends(Verdict::fail)});
  play(after, bench);
  EXPECT_EQ(bench.played.size(), 2u);
  EXPECT_EQ(after.verdict(), Verdict::fail);
}

TEST_F(ForgedSuite, ResumePlaysAgainWhatIsGoneAndSaysSo) {
  fs::remove_all(folder() / "kame/lane");
  SuiteRecord after = suite_of({pair_of("kame", "idle"), pair_of("kame", "lane")});
  Bench bench;
  play(after, bench);
  EXPECT_THAT(bench.played, ElementsAre("kame/lane"));
  EXPECT_THAT(after.notes,
              ElementsAre("kame/lane, which was fail when it was played, is not in the folder any more."));
}

TEST_F(Suite, RefusesNumbersThatNoSuiteCanHave) {
  const std::string text = suite_json(four_pairs());
  const auto refused = [&](const std::string& from, const std::string& to) -> std::string {
    std::string changed = text;
    changed.replace(changed.find(from), from.size(), to);
    try {
      suite_from_json(changed);
    } catch (const std::runtime_error& e) {
      return e.what();
    }
    return "";
  };
  EXPECT_EQ(refused("\"of\": 1", "\"of\": 2000000000"),
            "it says that it is one of 2000000000 shards of 4 pairs");
  EXPECT_EQ(refused("\"of\": 1", "\"of\": 0"), "it is of no shards");
  EXPECT_EQ(refused("\"of\": 1", "\"of\": 1e300"), "of is not a count");
  EXPECT_EQ(refused("\"times\": 0", "\"times\": 4000000000"), "times is 4000000000; at most 100");
  EXPECT_EQ(refused("\"shard\": 1", "\"shard\": -1"), "shard is not a count");
}

TEST_F(Suite, RefusesPairsThatTogetherTakeLongerThanAnybodyPlays) {
  SuiteRecord record = four_pairs();
  for (SuitePair& pair : record.pairs) pair.expected = 300'000'000 * ns_per_s;
  std::string said;
  try {
    suite_from_json(suite_json(record));
  } catch (const std::runtime_error& e) {
    said = e.what();
  }
  EXPECT_EQ(said, "its pairs take 1.2e+09 s together, and a suite is played in less than 1e+09 s");
}

}  // namespace
}  // namespace tachproof
