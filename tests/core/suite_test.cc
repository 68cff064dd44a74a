#include "core/plan/suite.h"

#include <gtest/gtest.h>

#include <rapidcheck/gtest.h>
#include <algorithm>
#include <numeric>

namespace tachproof {
namespace {

constexpr Verdict pass = Verdict::pass, fail = Verdict::fail, undecided = Verdict::undecided;
constexpr Outcome all_outcomes[] = {Outcome::pass,         Outcome::pass_on_retry, Outcome::fail,
                                    Outcome::intermittent, Outcome::undecided,     Outcome::not_played,
                                    Outcome::skipped,      Outcome::elsewhere};

std::vector<Verdict> some_verdicts() {
  return *rc::gen::container<std::vector<Verdict>>(rc::gen::element(pass, fail, undecided));
}

std::vector<Outcome> some_outcomes() {
  return *rc::gen::container<std::vector<Outcome>>(
      rc::gen::elementOf(std::vector<Outcome>(std::begin(all_outcomes), std::end(all_outcomes))));
}

std::vector<Nanos> some_durations() {
  return *rc::gen::container<std::vector<Nanos>>(rc::gen::inRange<Nanos>(0, 3600 * ns_per_s));
}

bool has(const std::vector<Verdict>& verdicts, Verdict v) {
  return std::find(verdicts.begin(), verdicts.end(), v) != verdicts.end();
}

TEST(SuiteOutcome, SaysWhatTheAttemptsCameTo) {
  const auto of = [](std::vector<Verdict> attempts) { return outcome_of(attempts); };
  EXPECT_EQ(of({}), Outcome::not_played);
  EXPECT_EQ(of({pass}), Outcome::pass);
  EXPECT_EQ(of({undecided, pass}), Outcome::pass_on_retry);
  EXPECT_EQ(of({undecided, undecided}), Outcome::undecided);
  EXPECT_EQ(of({undecided, fail}), Outcome::fail);
  EXPECT_EQ(of({fail, fail}), Outcome::fail);
  EXPECT_EQ(of({fail, pass}), Outcome::intermittent);
}

RC_GTEST_PROP(SuiteOutcome, IsAPassOnlyWithAPassAndWithoutAFail, ()) {
  const std::vector<Verdict> attempts = some_verdicts();
  const Outcome outcome = outcome_of(attempts);
  const bool passes = has(attempts, pass) && !has(attempts, fail);
  RC_ASSERT((verdict_of(outcome) == pass) == passes);
  RC_ASSERT((verdict_of(outcome) == fail) == has(attempts, fail));
  RC_ASSERT((outcome == Outcome::pass) == (passes && !has(attempts, undecided)));
}

RC_GTEST_PROP(SuiteOutcome, DoesNotDependOnTheOrderOfAttempts, ()) {
  std::vector<Verdict> attempts = some_verdicts();
  const Outcome outcome = outcome_of(attempts);
  std::sort(attempts.begin(), attempts.end());
  RC_ASSERT(outcome_of(attempts) == outcome);
}

TEST(SuiteVerdict, IsUndecidedWhereNothingWasPlayed) {
  EXPECT_EQ(verdict_of(std::vector<Outcome>{}), undecided);
  EXPECT_EQ(verdict_of(std::vector{Outcome::skipped, Outcome::elsewhere}), undecided);
  EXPECT_EQ(verdict_of(std::vector{Outcome::pass, Outcome::not_played}), undecided);
  EXPECT_EQ(verdict_of(std::vector{Outcome::pass, Outcome::skipped}), pass);
  EXPECT_EQ(verdict_of(std::vector{Outcome::undecided, Outcome::intermittent, Outcome::pass}), fail);
}

RC_GTEST_PROP(SuiteVerdict, IsNoBetterThanAnyPairsAndOneOfThem, ()) {
  const std::vector<Outcome> outcomes = some_outcomes();
  const Verdict whole = verdict_of(outcomes);
  bool one_of_them = false;
  bool any = false;
  for (const Outcome o : outcomes)
    if (const auto one = verdict_of(o)) {
      RC_ASSERT(worst(whole, *one) == whole);
      one_of_them = one_of_them || *one == whole;
      any = true;
    }
  RC_ASSERT(one_of_them || (!any && whole == undecided));
}

TEST(SuiteRetry, PlaysAgainOnlyWhatTheBenchCouldNotTell) {
  EXPECT_FALSE(plays_again(undecided, true, 1, {0, false}));
  EXPECT_TRUE(plays_again(undecided, true, 1, {2, false}));
  EXPECT_TRUE(plays_again(undecided, true, 2, {2, false}));
  EXPECT_FALSE(plays_again(undecided, true, 3, {2, false}));
  EXPECT_FALSE(plays_again(undecided, false, 1, {2, true}));  // a number too near its limit
  EXPECT_FALSE(plays_again(fail, false, 1, {2, false}));
  EXPECT_TRUE(plays_again(fail, false, 1, {2, true}));
  EXPECT_FALSE(plays_again(pass, false, 1, {2, true}));
}

TEST(SuiteRetry, TellsTheBenchFromANumberNearItsLimit) {
  RunResult near_its_limit;
  near_its_limit.complete = true;
  near_its_limit.boundaries.resize(1);  // undecided
  EXPECT_FALSE(bench_could_not_tell(near_its_limit));
  RunResult cut_short;
  EXPECT_TRUE(bench_could_not_tell(cut_short));
  RunResult lost = near_its_limit;
  lost.findings.push_back({FindingKind::lost_evidence, 0, "", "", ""});
  EXPECT_TRUE(bench_could_not_tell(lost));
  RunResult late = near_its_limit;
  late.findings.push_back({FindingKind::late, 0, "", "", ""});
  EXPECT_FALSE(bench_could_not_tell(late));
  RunResult not_answered = near_its_limit;
  not_answered.answers.resize(1);
  EXPECT_TRUE(bench_could_not_tell(not_answered));
}

RC_GTEST_PROP(Shards, GiveEveryPairToExactlyOneAndLeaveNoneWithoutWork, ()) {
  const std::vector<Nanos> durations = some_durations();
  RC_PRE(!durations.empty());
  const int shards = *rc::gen::inRange(1, static_cast<int>(durations.size()) + 1);
  const std::vector<int> shard = shard_of(durations, shards);
  RC_ASSERT(shard.size() == durations.size());
  std::vector<int> pairs(static_cast<std::size_t>(shards), 0);
  for (const int s : shard) {
    RC_ASSERT(s >= 1 && s <= shards);
    ++pairs[static_cast<std::size_t>(s - 1)];
  }
  for (const int n : pairs) RC_ASSERT(n > 0);
}

// Graham (1966), from memory: dealt to whoever has least, no load is beyond the
// mean by more than the longest.
RC_GTEST_PROP(Shards, AreOfAboutEqualLength, ()) {
  const std::vector<Nanos> durations = some_durations();
  RC_PRE(!durations.empty());
  const int shards = *rc::gen::inRange(1, 9);
  const std::vector<int> shard = shard_of(durations, shards);
  std::vector<Nanos> load(static_cast<std::size_t>(shards), 0);
  for (std::size_t i = 0; i < shard.size(); ++i) load[static_cast<std::size_t>(shard[i] - 1)] += durations[i];
  const Nanos all = std::accumulate(durations.begin(), durations.end(), Nanos{0});
  const Nanos longest = *std::max_element(durations.begin(), durations.end());
  const Nanos most = *std::max_element(load.begin(), load.end());
  RC_ASSERT(most <= all / shards + longest + static_cast<Nanos>(durations.size()) + 1);
}

TEST(Shards, AreTheSameOnEveryMachine) {
  const std::vector<Nanos> durations = {10, 50, 20, 20, 5, 30};
  EXPECT_EQ(shard_of(durations, 2), (std::vector{2, 1, 2, 1, 2, 2}));
  EXPECT_EQ(shard_of(durations, 3), (std::vector{2, 1, 3, 3, 2, 2}));
  EXPECT_EQ(shard_of(durations, 1), (std::vector{1, 1, 1, 1, 1, 1}));
}

Gauge one_lamp() {
  Gauge g;
  g.name = "one lamp";
  g.pulses_per_rev = 2;
  g.lamps = {{"eye", {"teal"}}};
  g.windows = {{"calm", 0, {}}, {"brisk", 3000, {1, 0}}, {"spent", 5000, {}}};
  g.deadband = {10, Sits::below};
  g.tolerance.rpm = 3;
  g.tolerance.response_to = 100 * ns_per_ms;
  return g;
}

Profile held(double rpm, Nanos lasts) {
  return Profile(std::vector<Step>{Hold{1000, ns_per_s}, Hold{rpm, lasts}, Hold{6000, ns_per_s}});
}

TEST(ADarkUnit, IsFoundOutOnlyWhereALampMustBeLit) {
  const Gauge gauge = one_lamp();
  EXPECT_TRUE(tells_a_dark_unit(gauge, held(4000, ns_per_s), {}, 1));
  EXPECT_FALSE(tells_a_dark_unit(gauge, held(2000, ns_per_s), {}, 1));
  EXPECT_FALSE(tells_a_dark_unit(gauge, held(4000, 20 * ns_per_ms), {}, 1));  // shorter than the response
  EXPECT_FALSE(tells_a_dark_unit(gauge, held(4000, ns_per_s), {}, 0));        // not wired
  EXPECT_FALSE(tells_a_dark_unit(gauge, Profile(), {}, 1));
  Noise loud;
  loud.wander_rpm = 500;
  loud.wander_s = 1;
  EXPECT_FALSE(tells_a_dark_unit(gauge, held(4000, ns_per_s), loud, 1));
}

TEST(ADarkUnit, MayBeDarkForAPartOfABlink) {
  Gauge gauge = one_lamp();
  gauge.windows[1].cue = {0, 1};
  gauge.blink = Blink{2, 0.5};
  EXPECT_TRUE(tells_a_dark_unit(gauge, held(4000, ns_per_s), {}, 1));
  EXPECT_FALSE(tells_a_dark_unit(gauge, held(4000, 400 * ns_per_ms), {}, 1));
}

TEST(Blinking, IsLitOrDarkForTheShorterPartOfAPeriod) {
  Gauge gauge = one_lamp();
  gauge.windows[1].cue = {0, 1};
  gauge.blink = Blink{4, 0.7};
  EXPECT_EQ(shortest_blink_phase(gauge, held(4000, ns_per_s), 1), 75 * ns_per_ms);
  EXPECT_EQ(shortest_blink_phase(gauge, held(2000, ns_per_s), 1), std::nullopt);
  EXPECT_EQ(shortest_blink_phase(gauge, held(4000, ns_per_s), 0), std::nullopt);  // not watched
  gauge.windows[1].cue = {1, 0};
  EXPECT_EQ(shortest_blink_phase(gauge, held(4000, ns_per_s), 1), std::nullopt);
}

}  // namespace
}  // namespace tachproof
