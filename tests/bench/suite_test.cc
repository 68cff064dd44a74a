#include "bench/run/suite.h"
#include "bench/reports/run_report.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <regex>
#include <set>
#include <sstream>

#include "bench/record/disk.h"
#include "bench/record/suite_checksums.h"
#include "bench/record/text.h"
#include "bench/rigs/rig.h"
#include "tests/bench/approved.h"
#include "tests/bench/drumlin_run.h"
#include "tests/bench/junit_rules.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::Not;

// A power cut: no part of the program survives it.
struct PowerCut {};

std::string sum(char c) { return std::string(64, c); }

SuitePair pair_of(const std::string& gauge, const std::string& scenario) {
  SuitePair pair;
  pair.gauge = gauge;
  pair.scenario = scenario;
  pair.gauge_title = gauge + " of the tests";
  pair.scenario_title = scenario;
  pair.gauge_file = "gauges/" + gauge + ".yaml";
  pair.scenario_file = "scenarios/" + scenario + ".yaml";
  pair.rig_file = "rig.yaml";
  pair.inputs = {{"gauge", sum('a')}, {"scenario", sum('b')}, {"rig", sum('c')}};
  pair.expected = 3 * ns_per_s;
  return pair;
}

SuiteRecord suite_of(std::vector<SuitePair> pairs) {
  SuiteRecord record;
  record.tool_version = "1";
  record.started = "2031-03-14T09:26:53+01:00";
  record.here = {1};
  record.pairs = std::move(pairs);
  record.plan_sha256 = sha256_of(plan_of(record));
  return record;
}

SuiteRecord four_pairs() {
  return suite_of(
      {pair_of("kame", "idle"), pair_of("kame", "lane"), pair_of("esker", "idle"), pair_of("esker", "lane")});
}

RunRecord ends(Verdict verdict, bool complete = true) {
  RunRecord record = drumlin::small().record;
  record.result.verdict = verdict;
  record.result.complete = complete;
  return record;
}
RunRecord cut_short() { return ends(Verdict::undecided, false); }

// A bench that follows a script: a run for every call, the last one for ever.
class Bench {
 public:
  explicit Bench(std::vector<RunRecord> script = {ends(Verdict::pass)}) : script_(std::move(script)) {}

  SuiteHooks hooks(const SuiteRecord& record) {
    SuiteHooks hooks;
    hooks.play = [this, &record](std::size_t i, const fs::path& folder) { return play(record, i, folder); };
    hooks.stop = [this]() -> std::optional<std::string> {
      if (played.size() < stop_after) return std::nullopt;
      return "it was stopped";
    };
    return hooks;
  }

  std::vector<std::string> played;
  std::size_t stop_after = 1000;
  int power_left = 1000;  // steps until the power is cut; a run has three

 private:
  void step() {
    if (power_left-- == 0) throw PowerCut{};
  }

  RunRecord play(const SuiteRecord& record, std::size_t i, const fs::path& folder) {
    const SuitePair& pair = record.pairs[i];
    RunRecord run = script_[std::min(played.size(), script_.size() - 1)];
    played.push_back(pair.gauge + "/" + pair.scenario);
    run.tool_version = record.tool_version;
    run.unit_serial = pair.unit_serial;
    run.inputs.clear();
    for (const FileSum& input : pair.inputs) run.inputs.emplace_back(input.file + ".yaml", input.sha256);
    step();
    RunFolder written = RunFolder::create(folder, run, run_pages);
    step();
    written.finish(run, drumlin::small().trace);
    step();
    return run;
  }

  std::vector<RunRecord> script_;
};

class Suite : public testing::Test {
 protected:
  fs::path folder() const { return scratch.path() / "suite"; }
  void play(SuiteRecord& record, Bench& bench) {
    resume_suite(record, folder());
    fs::create_directories(folder());
    play_suite(record, folder(), bench.hooks(record));
  }
  static std::vector<std::string> folders(const SuitePair& pair) {
    std::vector<std::string> names;
    for (const Attempt& a : pair.attempts) names.push_back(a.folder);
    return names;
  }
  TemporaryFolder scratch;
};

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

// ---- suite.json is believed no further than the folders go ----------------------

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

// ---- the reports -------------------------------------------------------------

// One pair of every outcome.
SuiteRecord all_outcomes() {
  SuiteRecord record;
  const auto attempt = [](const std::string& folder, Verdict verdict, bool complete,
                          const std::string& reason) {
    Attempt a;
    a.folder = folder;
    a.verdict = verdict;
    a.complete = complete;
    a.bench_could_not_tell = !complete;
    a.started = "2031-03-14T09:26:53+01:00";
    a.duration_s = 42.5;
    a.transitions = 18;
    a.reason = reason;
    a.result_sha256 = sum('1');
    return a;
  };
  const Attempt good = attempt("kame/idle", Verdict::pass, true, "Nothing wrong was seen in 42.500 s.");
  Attempt late =
      attempt("kame/lane", Verdict::fail, true,
              "boundary lane, rising: seen at 3462.1 rpm, -57.9 rpm from 3520.0; allowed -3.0 to 10.2 rpm.");
  late.findings = {{"early", 3}, {"wrong-cue", 1}};
  const Attempt lost = attempt("kame/peak", Verdict::undecided, false, "The board was lost at 12.5 s.");
  record = suite_of({pair_of("kame", "idle"), pair_of("kame", "lane"), pair_of("kame", "peak"),
                     pair_of("esker", "idle"), pair_of("esker", "lane"), pair_of("esker", "peak"),
                     pair_of("esker", "quick"), pair_of("esker", "slow")});
  std::vector<SuitePair>& pairs = record.pairs;
  pairs[0].attempts = {good};
  pairs[0].attempts[0].reused = true;
  pairs[1].attempts = {late};
  pairs[2].attempts = {lost, attempt("kame/peak@2", Verdict::pass, true, good.reason)};
  pairs[3].attempts = {attempt("esker/idle", Verdict::fail, true, late.reason),
                       attempt("esker/idle@2", Verdict::pass, true, good.reason)};
  pairs[4].attempts = {lost};
  pairs[4].attempts[0].folder.clear();
  pairs[5].skipped_because =
      "scenarios/peak.yaml presses 'capture', which the source of rig.yaml cannot press";
  pairs[7].shard = 2;
  pairs[1].set_aside = {"kame/lane"};
  record.shards = 2;
  record.plan_sha256 = sum('d');
  record.retry = {1, true};
  record.notes = {"A note."};
  return record;
}

TEST(SuiteReports, ReadAsApproved) {
  const SuiteRecord record = all_outcomes();
  expect_approved("suite.json", suite_json(record));
  expect_approved("suite.xml", suite_junit(record));
  std::string text = suite_head(record, 80);
  for (const SuitePair& pair : record.pairs) text += suite_row(record, pair, 80, false);
  expect_approved("suite.txt", text + suite_end(record, 80, false));
}

TEST(SuiteReports, ReadBackFromJsonAsTheyWere) {
  const std::string text = suite_json(all_outcomes());
  EXPECT_EQ(suite_json(suite_from_json(text)), text);
  EXPECT_THROW(suite_from_json(text.substr(0, text.size() / 2)), std::runtime_error);
  EXPECT_THROW(suite_from_json("{\"format\": 2}"), std::runtime_error);
  EXPECT_THROW(suite_from_json("[]"), std::runtime_error);
}

TEST(SuiteReports, KeepTheRulesOfJunitAndTellEachPairByItsName) {
  SuiteRecord record = all_outcomes();
  if (there_is_xmllint()) expect_valid_junit(suite_junit(record));
  record.pairs[1].attempts[0].reason = "<&>\"\x01\xff";
  record.pairs[5].skipped_because = "]]>";
  const std::string xml = suite_junit(record);
  if (there_is_xmllint()) expect_valid_junit(xml);
  std::set<std::string> names;
  std::size_t cases = 0;
  const std::regex name("<testcase name=\"([^\"]*)\" classname=\"([^\"]*)\"");
  for (auto i = std::sregex_iterator(xml.begin(), xml.end(), name); i != std::sregex_iterator(); ++i, ++cases)
    names.insert((*i)[2].str() + "/" + (*i)[1].str());
  EXPECT_EQ(cases, 8u);  // seven pairs of this shard and the verdict
  EXPECT_EQ(names.size(), cases);
  EXPECT_THAT(xml, HasSubstr("<testsuites tests=\"8\" failures=\"3\" errors=\"2\""));
}

TEST(SuiteReports, FitOn80ColumnsWhateverTheNames) {
  SuiteRecord record = all_outcomes();
  for (SuitePair& pair : record.pairs) {
    pair.gauge = std::string(60, 'g');
    pair.scenario = std::string(90, 's');
    pair.skipped_because = pair.skipped_because.empty() ? "" : std::string(300, 'w');
  }
  std::string text = suite_head(record, 80) + suite_end(record, 80, false);
  for (const SuitePair& pair : record.pairs) text += suite_row(record, pair, 80, false);
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) EXPECT_LE(code_points(line), 80u) << line;
}

TEST(SuiteReports, LinkToEveryAttempt) {
  SuiteRecord record = all_outcomes();
  record.pairs[0].attempts[0].folder = "a b/#1/kame/idle";
  const std::string html = suite_html(record);
  for (const char* link :
       {"a%20b/%231/kame/idle/", "kame/lane/", "kame/peak/", "kame/peak@2/", "esker/idle/"})
    EXPECT_THAT(html, HasSubstr("<a href=\"" + std::string(link) + "report.html\">"));
  EXPECT_THAT(html, Not(HasSubstr("<script")));
}

}  // namespace
}  // namespace tachproof
