#include "bench/run/runner.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <fstream>

#include "bench/formats/recording.h"
#include "tests/bench/scratch_folder.h"
#include "tests/bench/scripted_rig.h"

namespace tachproof {
namespace {

using testing::HasSubstr;

// One lamp that must light at 3000 rpm and go out under 2990 rpm.
Gauge one_lamp() {
  Gauge gauge;
  gauge.name = "one lamp";
  gauge.pulses_per_rev = 2;
  gauge.lamps = {{"only", {"white"}}};
  gauge.windows = {{"calm", 0, {}}, {"brisk", 3000, {.steady = 1, .blinking = 0}}};
  gauge.deadband = {10, Sits::below};
  gauge.tolerance.rpm = 3;
  gauge.tolerance.response_to = 120 * ns_per_ms;
  return gauge;
}

// 2000 rpm, at 1.5 s through 3000 rpm on the way to 4000 rpm, until 4 s.
std::vector<Step> up() {
  return {Hold{2000, ns_per_s}, RampByTime{4000, ns_per_s}, Hold{4000, 2 * ns_per_s}};
}

// A sound unit: 20 ms after 1.5 s.
std::vector<LampEvent> lit_in_time() { return {{0, 0}, {1'520 * ns_per_ms, 1}}; }

class Runner : public testing::Test {
 protected:
  RunOutcome run(const std::vector<Step>& steps, const RunHooks& hooks = {}) {
    const Profile profile(steps);
    RunRecord record;
    record.gauge = gauge;
    RunFolder folder = RunFolder::create(scratch / std::to_string(++runs), record);
    Rig rig = scripted_rig(script);
    JudgeWhat what;
    what.thresholds = false;  // a run up proves none
    return run_scenario({gauge, profile, {}, 1, what}, rig, folder, hooks);
  }

  void fresh_script() {
    script = std::make_shared<Script>();
    script->lamps = lit_in_time();
  }

  void SetUp() override { fresh_script(); }

  static bool has(const RunResult& result, FindingKind kind, const std::string& message) {
    for (const Finding& finding : result.findings)
      if (finding.kind == kind && finding.message.find(message) != std::string::npos) return true;
    return false;
  }

  ScratchFolder scratch;
  Gauge gauge = one_lamp();
  std::shared_ptr<Script> script;
  int runs = 0;
};

TEST_F(Runner, PassesAUnitThatDoesAsItShould) {
  const RunResult result = run(up()).result;
  EXPECT_EQ(result.verdict, Verdict::pass);
  EXPECT_TRUE(result.complete);
  EXPECT_TRUE(result.findings.empty());
  EXPECT_EQ(result.evidence.pulses, script->pulses);
  EXPECT_EQ(script->source_ends, 1);
  EXPECT_EQ(script->watcher_ends, 1);
}

TEST_F(Runner, FailsAUnitThatDoesNot) {
  script->lamps = {{0, 0}, {1'400 * ns_per_ms, 1}};
  EXPECT_EQ(run(up()).result.verdict, Verdict::fail);
}

TEST_F(Runner, IsUndecidedWhicheverOperationFails) {
  std::vector<Step> steps = up();
  steps.push_back(Press{"capture", 200 * ns_per_ms});
  run(steps);
  const int operations = script->operations;
  ASSERT_GT(operations, 10);
  for (int n = 0; n < operations; ++n) {
    SCOPED_TRACE(n);
    fresh_script();
    script->fails_at = n;
    const RunResult result = run(steps).result;
    EXPECT_EQ(result.verdict, Verdict::undecided);
    EXPECT_FALSE(result.complete);
    EXPECT_TRUE(has(result, FindingKind::bench_fault, "failed: the cable is gone"));
    EXPECT_EQ(script->operations, n + 1);
    EXPECT_EQ(script->source_ends, 1);
    EXPECT_EQ(script->watcher_ends, 1);
  }
}

TEST_F(Runner, IsUndecidedWhenChangesWereLost) {
  script->loses_at = ns_per_s;
  const RunResult result = run(up()).result;
  EXPECT_EQ(result.verdict, Verdict::undecided);
  EXPECT_EQ(result.evidence.lost, 3U);
  EXPECT_TRUE(has(result, FindingKind::lost_evidence, "the capture buffer ran over"));
}

TEST_F(Runner, IsUndecidedWhenTheWatcherVouchesForLess) {
  script->vouches_until = 3'900 * ns_per_ms;
  const RunResult result = run(up()).result;
  EXPECT_EQ(result.verdict, Verdict::undecided);
  EXPECT_FALSE(result.complete);
  EXPECT_TRUE(
      has(result, FindingKind::lost_evidence, "the watcher reported lamps only up to 3.900 s, of 4.000 s"));
}

TEST_F(Runner, IsUndecidedWhenChangesComeOutOfOrder) {
  script->lamps = {{0, 0}, {1'520 * ns_per_ms, 1}, {1'510 * ns_per_ms, 0}};
  const RunResult result = run(up()).result;
  EXPECT_EQ(result.verdict, Verdict::undecided);
  EXPECT_TRUE(has(result, FindingKind::bench_fault, "out of time order"));
}

TEST_F(Runner, IsUndecidedWhenNothingWasSeen) {
  script->lamps = {};
  script->vouches_until = 0;
  EXPECT_EQ(run(up()).result.verdict, Verdict::undecided);
}

TEST_F(Runner, StopsBetweenStretchesAndEndsTheRig) {
  RunHooks hooks;
  hooks.stop = [&]() -> std::optional<std::string> {
    if (script->played_until < 2 * ns_per_s) return std::nullopt;
    return "the run was stopped by SIGINT";
  };
  const RunResult result = run(up(), hooks).result;
  EXPECT_EQ(result.verdict, Verdict::undecided);
  EXPECT_FALSE(result.complete);
  EXPECT_TRUE(has(result, FindingKind::bench_fault, "the run was stopped by SIGINT"));
  EXPECT_EQ(script->played_until, 2 * ns_per_s);
  EXPECT_EQ(script->source_ends, 1);
}

TEST_F(Runner, KeepsARealTimeSourceAShortWayAheadOfTheLamps) {
  script->virtual_time = false;
  EXPECT_EQ(run(up()).result.verdict, Verdict::pass);
  EXPECT_LE(script->longest_block, 50 * ns_per_ms);
  EXPECT_LE(script->most_ahead, 350 * ns_per_ms);
  EXPECT_GE(script->most_ahead, 200 * ns_per_ms);
}

TEST_F(Runner, PressesBeforeTheBlockThatHoldsTheInstant) {
  std::vector<Step> steps = up();
  steps.push_back(Press{"capture", 200 * ns_per_ms});
  run(steps);
  EXPECT_THAT(script->presses, testing::ElementsAre(std::pair<std::string, Nanos>("capture", 4 * ns_per_s)));
}

std::vector<Step> with_question() {
  std::vector<Step> steps = up();
  Ask ask;
  ask.question = "Peak shown, rpm?";
  ask.wants = Ask::Wants::peak;
  ask.within = 10;
  steps.push_back(ask);
  return steps;
}

TEST_F(Runner, TakesTheWatchersAnswer) {
  script->answer = "3995";
  const RunResult result = run(with_question()).result;
  ASSERT_EQ(result.answers.size(), 1U);
  EXPECT_EQ(result.answers[0].verdict, Verdict::pass);
  EXPECT_EQ(result.answers[0].expected, "4000 within 10");
  EXPECT_EQ(result.verdict, Verdict::pass);
}

TEST_F(Runner, AsksThePersonWhenTheWatcherCannotAnswer) {
  RunHooks hooks;
  hooks.ask_person = [](const Ask& ask, Nanos) {
    return Reply{ask.question == "Peak shown, rpm?" ? " 4010 rpm " : ""};
  };
  EXPECT_EQ(run(with_question(), hooks).result.verdict, Verdict::pass);
}

std::vector<Step> with_question_in_mid_run() {
  std::vector<Step> steps = with_question();
  steps.push_back(Press{"capture", 200 * ns_per_ms});
  steps.push_back(RampByTime{2000, ns_per_s});
  steps.push_back(Hold{2000, ns_per_s});
  return steps;
}

// Asked `times` times before there is an answer.
RunHooks thinking(int times) {
  RunHooks hooks;
  hooks.ask_person = [times](const Ask&, Nanos) mutable -> std::optional<Reply> {
    if (times-- > 0) return std::nullopt;
    return Reply{"4000"};
  };
  return hooks;
}

TEST_F(Runner, KeepsTheRpmInRealTimeWhileAPersonThinks) {
  for (const int times : {0, 1, 40}) {
    fresh_script();
    script->virtual_time = false;
    // 4000 rpm x 2 are 7.5 ms: the least of whole periods is 52.5 ms. Five are
    // played before the question, so that the source stays ahead.
    const Nanos held = (5 + times) * 52'500 * ns_per_us;
    script->lamps.push_back({4'725 * ns_per_ms + held, 0});
    const RunResult result = run(with_question_in_mid_run(), thinking(times)).result;
    EXPECT_EQ(result.verdict, Verdict::pass) << times;
    EXPECT_TRUE(result.complete);
    EXPECT_EQ(script->played_until, 6'200 * ns_per_ms + held);
    EXPECT_EQ(result.evidence.pulses, script->pulses);
    // 1 s at 2000 rpm, 1 s on the way, 2.2 s at 4000 rpm, and back.
    EXPECT_NEAR(static_cast<double>(script->pulses),
                66.7 + 100 + 293.3 + 100 + 66.7 + to_seconds(held) * 133.333, 1);
    EXPECT_LE(script->most_ahead, 360 * ns_per_ms);
    EXPECT_THAT(script->presses,
                testing::ElementsAre(std::pair<std::string, Nanos>("capture", 4 * ns_per_s + held)));
  }
}

TEST_F(Runner, JudgesTheLampsWhileAPersonThinks) {
  script->virtual_time = false;
  script->lamps.push_back({5 * ns_per_s, 0});  // out in mid-question, for half a second
  script->lamps.push_back({5'500 * ns_per_ms, 1});
  script->lamps.push_back({4'725 * ns_per_ms + 45 * 52'500 * ns_per_us, 0});
  EXPECT_EQ(run(with_question_in_mid_run(), thinking(40)).result.verdict, Verdict::fail);
}

TEST_F(Runner, LetsTimeStandStillForAQuestionWhereItIsVirtual) {
  script->lamps.push_back({4'725 * ns_per_ms, 0});
  EXPECT_EQ(run(with_question_in_mid_run(), thinking(40)).result.verdict, Verdict::pass);
  EXPECT_EQ(script->played_until, 6'200 * ns_per_ms);
  EXPECT_THAT(script->presses, testing::ElementsAre(std::pair<std::string, Nanos>("capture", 4 * ns_per_s)));
}

TEST_F(Runner, StopsInTheMiddleOfAQuestion) {
  for (const bool virtual_time : {true, false}) {
    fresh_script();
    script->virtual_time = virtual_time;
    RunHooks hooks = thinking(1'000'000);
    int asked = 0;
    hooks.stop = [&]() -> std::optional<std::string> {
      if (script->played_until < 4 * ns_per_s || ++asked < 20) return std::nullopt;
      return "the run was stopped by SIGINT";
    };
    const RunResult result = run(with_question_in_mid_run(), hooks).result;
    EXPECT_EQ(result.verdict, Verdict::undecided);
    EXPECT_FALSE(result.complete);
    EXPECT_TRUE(has(result, FindingKind::bench_fault, "the run was stopped by SIGINT"));
    EXPECT_TRUE(result.answers.empty());
    EXPECT_EQ(script->source_ends, 1);
  }
}

TEST_F(Runner, FailsForAWrongAnswer) {
  script->answer = "3989";
  const RunResult result = run(with_question()).result;
  EXPECT_EQ(result.verdict, Verdict::fail);
  EXPECT_TRUE(has(result, FindingKind::wrong_answer, ""));
}

TEST_F(Runner, IsUndecidedWithoutAnAnswer) {
  const RunResult result = run(with_question()).result;
  ASSERT_EQ(result.answers.size(), 1U);
  EXPECT_EQ(result.answers[0].verdict, Verdict::undecided);
  EXPECT_EQ(result.verdict, Verdict::undecided);
}

TEST_F(Runner, CapturesEveryPulseWithBothItsEdgesAndEveryLampChange) {
  run(up());
  const auto reader = open_recording(scratch / "1" / "capture.vcd", {"tach", "only.white"});
  std::array<ChannelChange, 256> block;
  std::uint64_t rises = 0, falls = 0;
  Nanos lit_at = 0;
  while (const std::size_t n = reader->next(block))
    for (const ChannelChange& change : std::span(block).first(n)) {
      if (change.channel == 0) ++(change.level == Level::high ? rises : falls);
      if (change.channel == 1 && change.level == Level::high) lit_at = change.at;
    }
  EXPECT_EQ(rises, script->pulses);
  EXPECT_EQ(falls, script->pulses);  // low before the first; the last comes with the end and stays high
  EXPECT_EQ(lit_at, 1'520 * ns_per_ms);
  EXPECT_FALSE(reader->truncated());
}

TEST(JudgeAnswer, ComparesTextWithoutRegardToCaseAndBlanks) {
  Ask ask;
  ask.text = "Magenta";
  EXPECT_EQ(judge_answer(ask, 0, {}, " magenta\n").verdict, Verdict::pass);
  EXPECT_EQ(judge_answer(ask, 0, {}, "white").verdict, Verdict::fail);
  EXPECT_EQ(judge_answer(ask, 0, {}, "  ").verdict, Verdict::undecided);
}

TEST(JudgeAnswer, TakesOnlyAWholeNumberWithOrWithoutItsUnit) {
  Ask ask;
  ask.wants = Ask::Wants::number;
  ask.number = 12;
  EXPECT_EQ(judge_answer(ask, 0, {}, "12 RPM").verdict, Verdict::pass);
  EXPECT_EQ(judge_answer(ask, 0, {}, "12e").verdict, Verdict::fail);
  EXPECT_EQ(judge_answer(ask, 0, {}, "nan").verdict, Verdict::fail);
  EXPECT_EQ(judge_answer(ask, 0, {}, std::nullopt).verdict, Verdict::undecided);
}

}  // namespace
}  // namespace tachproof
