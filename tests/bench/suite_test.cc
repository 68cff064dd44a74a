// Suites: every pair into its folder, retries, resuming, shares.
#include "bench/run/suite.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>

#include "bench/record/disk.h"
#include "bench/reports/run_report.h"
#include "bench/rigs/rig.h"
#include "tests/bench/scripted_suite.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;
using test::Bench, test::cut_short, test::ends, test::four_pairs, test::pair_of, test::PowerCut, test::Suite;
using test::suite_of, test::sum;
using testing::ElementsAre;
using testing::HasSubstr;

TEST_F(Suite, PlaysEveryPairIntoAFolderOfItsOwn) {
  SuiteRecord record = four_pairs();
  Bench bench;
  play(record, bench);
  EXPECT_THAT(bench.played, ElementsAre("kame/idle", "kame/lane", "esker/idle", "esker/lane"));
  EXPECT_EQ(record.verdict(), Verdict::pass);
  EXPECT_TRUE(record.complete());
  for (const std::string& run : bench.played)
    EXPECT_EQ(load_run(folder() / run).record.result.verdict, Verdict::pass);
  EXPECT_EQ(load_suite(folder()).verdict(), Verdict::pass);
}

TEST_F(Suite, MarksAPassThatTookSeveralAttempts) {
  SuiteRecord record = suite_of({pair_of("kame", "lane")});
  record.retry.times = 2;
  Bench bench({cut_short(), ends(Verdict::pass)});
  play(record, bench);
  EXPECT_EQ(record.outcome(record.pairs[0]), Outcome::pass_on_retry);
  EXPECT_EQ(record.verdict(), Verdict::pass);
  EXPECT_THAT(folders(record.pairs[0]), ElementsAre("kame/lane", "kame/lane@2"));
  EXPECT_THAT(suite_json(record), HasSubstr("\"outcome\": \"pass-on-retry\""));
  EXPECT_THAT(suite_row(record, record.pairs[0], 80, false), HasSubstr("pass, attempt 2 of 2"));
  EXPECT_THAT(suite_end(record, 80, false), HasSubstr("PASS: Of 1 pair 1 passes at a later attempt."));
  EXPECT_THAT(suite_html(record), HasSubstr("<b class=\"undecided\">pass, attempt 2 of 2</b>"));
  EXPECT_THAT(suite_junit(record), HasSubstr("<system-out>pass, attempt 2 of 2. Attempt 1, undecided: "));
}

// The rows are in the gauge's order, not in that of the holds.
TEST_F(Suite, KnowsADwellThatLeftBoundariesOutAfterAFlicker) {
  RunRecord dwell;
  dwell.result.flicker = {{"hasty", 3000, 20, 9, 27, 40, 1, Verdict::fail},
                          {"brisk", 4000, 700, 0, 0, 0.3, 1, Verdict::pass}};
  EXPECT_FALSE(attempt_of(dwell, folder(), "kame/dwell").stopped_at_a_flicker);
  dwell.result.not_visited = {"late"};
  EXPECT_TRUE(attempt_of(dwell, folder(), "kame/dwell").stopped_at_a_flicker);
  dwell.to_the_end = true;
  EXPECT_FALSE(attempt_of(dwell, folder(), "kame/dwell").stopped_at_a_flicker);
}

TEST_F(Suite, TakesAFailAsFinal) {
  SuiteRecord record = suite_of({pair_of("kame", "lane")});
  record.retry.times = 2;
  Bench bench({ends(Verdict::fail), ends(Verdict::pass)});
  play(record, bench);
  EXPECT_EQ(bench.played.size(), 1u);
  EXPECT_EQ(record.verdict(), Verdict::fail);
}

TEST_F(Suite, KeepsAnIntermittentUnitAFailWhereverItIsShown) {
  SuiteRecord record = suite_of({pair_of("kame", "lane")});
  record.retry = {2, true};
  Bench bench({ends(Verdict::fail), ends(Verdict::pass)});
  play(record, bench);
  EXPECT_EQ(record.outcome(record.pairs[0]), Outcome::intermittent);
  EXPECT_EQ(record.verdict(), Verdict::fail);
  EXPECT_THAT(suite_row(record, record.pairs[0], 80, false), HasSubstr("FAIL in 1 of 2"));
  EXPECT_THAT(suite_html(record), HasSubstr("<b class=\"fail\">FAIL in 1 of 2</b>"));
  EXPECT_THAT(suite_junit(record), HasSubstr("<failure type=\"fail\""));
  // And when it is looked at again by a suite that passes.
  SuiteRecord again = suite_of({pair_of("kame", "lane")});
  play(again, bench);
  EXPECT_EQ(again.outcome(again.pairs[0]), Outcome::intermittent);
}

TEST_F(Suite, GivesUpWhenTheBenchNeverCouldTell) {
  SuiteRecord record = suite_of({pair_of("kame", "lane"), pair_of("kame", "idle")});
  record.retry.times = 1;
  Bench bench({cut_short(), cut_short(), ends(Verdict::pass)});
  play(record, bench);
  EXPECT_THAT(bench.played, ElementsAre("kame/lane", "kame/lane", "kame/idle"));
  EXPECT_EQ(record.verdict(), Verdict::undecided);
  EXPECT_TRUE(record.complete());
}

TEST_F(Suite, IsUndecidedWhereTheRigCannotBeHad) {
  SuiteRecord record = suite_of({pair_of("kame", "lane")});
  fs::create_directories(folder());
  SuiteHooks hooks;
  hooks.play = [](std::size_t, const fs::path&) -> RunRecord {
    throw RigError("opening the port: it is gone");
  };
  play_suite(record, folder(), hooks);
  EXPECT_EQ(record.verdict(), Verdict::undecided);
  EXPECT_THAT(suite_row(record, record.pairs[0], 80, false), HasSubstr("    opening the port: it is gone\n"));
  EXPECT_EQ(load_suite(folder()).verdict(), Verdict::undecided);
}

TEST_F(Suite, SaysThatItWasStopped) {
  SuiteRecord record = four_pairs();
  Bench bench;
  bench.stop_after = 2;
  play(record, bench);
  EXPECT_EQ(bench.played.size(), 2u);
  const SuiteRecord stored = load_suite(folder());
  EXPECT_EQ(stored.verdict(), Verdict::undecided);
  EXPECT_FALSE(stored.complete());
  EXPECT_THAT(
      suite_end(stored, 80, false),
      HasSubstr("UNDECIDED: Of 4 pairs 2 pass, 2 were not played. The suite did not get to its\nend."));
}

TEST_F(Suite, IsNoPassWhenItWasStoppedAfterTheLastPair) {
  SuiteRecord record = four_pairs();
  Bench bench;
  bench.stop_after = 4;
  play(record, bench);
  EXPECT_EQ(load_suite(folder()).verdict(), Verdict::undecided);
}

// At every step of every run: before its folder, in it, and when it is done.
TEST_F(Suite, GoesOnAfterAPowerCutAnywhere) {
  for (int cut = 0; cut < 12; ++cut) {
    SCOPED_TRACE(cut);
    fs::remove_all(folder());
    SuiteRecord before = four_pairs();
    Bench first;
    first.power_left = cut;
    EXPECT_THROW(play(before, first), PowerCut);
    const SuiteRecord cut_off = load_suite(folder());
    EXPECT_EQ(cut_off.verdict(), Verdict::undecided);
    EXPECT_FALSE(cut_off.complete());

    SuiteRecord after = four_pairs();
    Bench second;
    play(after, second);
    EXPECT_EQ(after.verdict(), Verdict::pass);
    EXPECT_TRUE(after.complete());
    const auto done = static_cast<std::size_t>(cut + 1) / 3;  // with the third step a run is on disk
    EXPECT_EQ(second.played.size(), 4 - done);
    EXPECT_EQ(load_suite(folder()).verdict(), Verdict::pass);
  }
}

TEST_F(Suite, PlaysAgainWhatRestsOnAnotherFileNow) {
  for (const char* role : {"gauge", "scenario", "rig", "unit"}) {
    SCOPED_TRACE(role);
    fs::remove_all(folder());
    SuiteRecord before = four_pairs();
    for (SuitePair& pair : before.pairs) pair.inputs.push_back({"unit", sum('e')});
    SuiteRecord after = before;
    Bench first({ends(Verdict::fail)}), second;
    play(before, first);
    for (FileSum& input : after.pairs[1].inputs)
      if (input.file == role) input.sha256 = sum('f');
    after.plan_sha256 = sha256_of(plan_of(after));
    play(after, second);
    EXPECT_THAT(second.played, ElementsAre("kame/lane"));
    EXPECT_THAT(after.pairs[1].set_aside, ElementsAre("kame/lane"));
    EXPECT_THAT(folders(after.pairs[1]), ElementsAre("kame/lane@2"));
    EXPECT_EQ(after.outcome(after.pairs[1]), Outcome::pass);
    EXPECT_EQ(after.outcome(after.pairs[0]), Outcome::fail);
    EXPECT_TRUE(after.pairs[0].attempts[0].reused);
    EXPECT_FALSE(after.pairs[1].attempts[0].reused);
  }
}

TEST_F(Suite, PlaysAllAgainWithAnotherVersionOfTheProgram) {
  SuiteRecord before = four_pairs();
  SuiteRecord after = four_pairs();
  after.tool_version = "2";
  after.plan_sha256 = sha256_of(plan_of(after));
  Bench first, second;
  play(before, first);
  play(after, second);
  EXPECT_EQ(second.played.size(), 4u);
}

TEST_F(Suite, DoesNotTakeUpWhatIsNotItsOwn) {
  fs::create_directories(folder() / "kame" / "lane");
  SuiteRecord record = four_pairs();
  EXPECT_THROW(
      try { resume_suite(record, folder()); } catch (const std::runtime_error& e) {
        EXPECT_EQ(std::string(e.what()),
                  folder().string() + " holds no suite to resume: it has no suite.json");
        throw;
      },
      std::runtime_error);
}

TEST_F(Suite, BelievesTheRunFoldersMoreThanItsOwnFile) {
  SuiteRecord record = four_pairs();
  Bench bench;
  play(record, bench);
  fs::remove_all(folder() / "esker" / "idle");
  const SuiteRecord without = load_suite(folder());
  EXPECT_EQ(without.verdict(), Verdict::undecided);
  EXPECT_EQ(without.outcome(without.pairs[2]), Outcome::undecided);
  EXPECT_THAT(without.pairs[2].attempts[0].reason, HasSubstr("is not a run folder"));
}

// A kill before suite.json is there leaves its part at most.
TEST_F(Suite, GoesOnWhereItWasKilledInItsFirstMoment) {
  fs::create_directories(folder());
  std::ofstream(folder() / ".suite.json.part") << "{";
  SuiteRecord record = four_pairs();
  EXPECT_FALSE(resume_suite(record, folder()));
  make_suite_folder(folder());
  Bench bench;
  play_suite(record, folder(), bench.hooks(record));
  EXPECT_EQ(load_suite(folder()).verdict(), Verdict::pass);
}

class Shares : public Suite {
 protected:
  // A pair a shard, four shards.
  fs::path played_shard(int shard) {
    SuiteRecord record = four_pairs();
    for (int i = 0; i < 4; ++i) record.pairs[static_cast<std::size_t>(i)].shard = i + 1;
    record.shards = 4;
    record.here = {shard};
    if (shard == other_gauge_on) record.pairs[0].inputs[0].sha256 = sum('e');
    record.plan_sha256 = sha256_of(plan_of(record));
    const fs::path where = scratch.path() / ("shard" + std::to_string(shard));
    fs::create_directories(where);
    Bench bench;
    play_suite(record, where, bench.hooks(record));
    EXPECT_EQ(bench.played.size(), 1u);
    EXPECT_EQ(record.verdict(), Verdict::pass);
    return where;
  }
  std::string refusal(const std::vector<fs::path>& shards) {
    try {
      merged(shards, scratch.path());
    } catch (const std::runtime_error& e) {
      return e.what();
    }
    return "";
  }
  int other_gauge_on = 0;  // a shard
};

TEST_F(Shares, MakeTheWholeTogether) {
  const SuiteRecord whole =
      merged({played_shard(3), played_shard(1), played_shard(4), played_shard(2)}, scratch.path());
  EXPECT_EQ(whole.verdict(), Verdict::pass);
  EXPECT_THAT(whole.here, ElementsAre(1, 2, 3, 4));
  EXPECT_EQ(whole.pairs[1].attempts[0].folder, "shard2/kame/lane");
  EXPECT_THAT(suite_end(whole, 80, false), HasSubstr("PASS: All 4 pairs pass."));
}

TEST_F(Shares, AreUndecidedWhenOneIsMissing) {
  const SuiteRecord part = merged({played_shard(1), played_shard(2), played_shard(4)}, scratch.path());
  EXPECT_EQ(part.verdict(), Verdict::undecided);
  EXPECT_FALSE(part.complete());
  EXPECT_EQ(part.outcome(part.pairs[2]), Outcome::not_played);
  EXPECT_THAT(part.notes, ElementsAre("Shard 3 of 4 is missing."));
  EXPECT_EQ(merged({played_shard(3)}, scratch.path()).verdict(), Verdict::undecided);
}

TEST_F(Shares, OfDifferentSuitesDoNotGoTogether) {
  const fs::path first = played_shard(1);
  other_gauge_on = 2;
  const fs::path second = played_shard(2);
  EXPECT_THAT(refusal({first, second}), HasSubstr("are not shards of one suite"));
  EXPECT_EQ(refusal({first, first}), "shard 1/4 is given twice");
}

}  // namespace
}  // namespace tachproof
