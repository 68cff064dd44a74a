// A stored run with a press is judged again from its evidence: the press is the scenario's.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "bench/files/files.h"
#include "bench/record/folder_format.h"
#include "bench/record/result_json.h"
#include "bench/reports/run_report.h"
#include "bench/rigs/factory.h"
#include "bench/run/find_causes.h"
#include "bench/run/judge_again.h"
#include "bench/run/runner.h"
#include "bench/run/verify.h"
#include "tests/bench/scratch_folder.h"
#include "tests/core/pressed_unit.h"

namespace tachproof {
namespace {

constexpr const char* scenario_text =
    "format: 1\n"
    "kind: scenario\n"
    "name: a take\n"
    "profile:\n"
    "  - {hold: 3650, for: 1s}\n"
    "  - {ramp: 4210, for: 1s}\n"
    "  - {hold: 4210, for: 500ms}\n"
    "  - {press: set, for: 200ms}\n"
    "  - {hold: 4210, for: 500ms}\n"
    "  - {ramp: 3200, for: 1s}\n"
    "  - {ramp: 4800, rate: 100}\n"
    "  - {ramp: 3200, rate: 100}\n"
    "  - {ramp: 4800, rate: 400}\n"
    "  - {ramp: 3200, rate: 400}\n"
    "judge: {transitions: true, steady: true, blink: true, thresholds: false}\n";
constexpr const char* rig_text =
    "format: 1\n"
    "kind: rig\n"
    "source: {kind: simulated}\n"
    "watch: {kind: simulated, unit: gauge.yaml}\n";
constexpr const char* version = "9.9";

// The lamps of the plain state machine, in place of the built-in unit's.
class PressedWatcher : public Watcher {
 public:
  PressedWatcher(std::unique_ptr<Watcher> other, std::vector<LampEvent> events)
      : other_(std::move(other)), events_(std::move(events)) {}
  WatcherFacts facts() const override { return other_->facts(); }
  void begin() override { other_->begin(); }
  Seen collect(Nanos until, std::vector<LampEvent>& out) override {
    for (; next_ < events_.size() && events_[next_].at <= until; ++next_) out.push_back(events_[next_]);
    std::vector<LampEvent> unheard;
    return other_->collect(until, unheard);
  }
  void end() noexcept override { other_->end(); }

 private:
  std::unique_ptr<Watcher> other_;
  std::vector<LampEvent> events_;
  std::size_t next_ = 0;
};

// A source in real time whose buttons nobody but a person can press: he takes three looks, then does it.
class HandSource : public Source {
 public:
  explicit HandSource(std::unique_ptr<Source> other) : other_(std::move(other)) {}
  SourceFacts facts() const override {
    SourceFacts facts = other_->facts();
    facts.kind = "board";
    facts.virtual_time = false;
    return facts;
  }
  void begin() override { other_->begin(); }
  void rpm(const Segment& segment) override { other_->rpm(segment); }
  void play(const PulseBlock& block) override {
    other_->play(block);
    played_ = block.until;
  }
  bool can_press(const std::string&) const override { return false; }
  void press(const Press&, Nanos) override {}
  void end() noexcept override { other_->end(); }

  RunHooks person() {
    RunHooks hooks;
    hooks.ask_person = [this](const Ask& ask, Nanos) -> std::optional<Reply> {
      if (++looks_ % 3 != 0) return std::nullopt;
      if (ask.question.starts_with("Press")) {
        other_->press(Press{"set", 200 * ns_per_ms}, played_);
        return Reply{"done"};
      }
      if (ask.button == "supply") {
        const std::string set = "Set the unit's supply to ";
        const double volts = ask.question.starts_with(set)     ? std::stod(ask.question.substr(set.size()))
                             : ask.question.starts_with("Cut") ? 1
                                                               : 13;
        other_->supply(Supply{volts, volts, 0}, played_);
        return Reply{""};
      }
      return Reply{"yes"};
    };
    return hooks;
  }

 private:
  std::unique_ptr<Source> other_;
  Nanos played_ = 0;
  int looks_ = 0;
};

class PressedVerify : public testing::Test {
 protected:
  // Plays the scenario on the Drumlin with buttons, and keeps the run in `run`.
  RunRecord play(const test::PressedUnit& unit) {
    files(scenario_text);
    const Gauge gauge = load_gauge(scratch / "gauge.yaml");
    const ScenarioFile scenario = load_scenario(scratch / "scenario.yaml");
    const Profile profile(scenario.steps);
    Rig rig = make_rig(load_rig(scratch / "rig.yaml"), (scratch / "rig.yaml").string(), gauge, scenario.seed);
    rig.watcher = std::make_unique<PressedWatcher>(std::move(rig.watcher), unit.watch(gauge, profile));
    return run(gauge, scenario, profile, rig, {});
  }

  // By a person who presses, and who is asked at the end.
  RunRecord play_by_hand(const std::string& at_the_end =
                             "  - {ask: \"Does the dial glow?\", expect: {equals: \"yes\"}}\n"
                             "  - {hold: 3200, for: 500ms}\n") {
    files(std::string(scenario_text).replace(std::string(scenario_text).find("judge:"), 0, at_the_end));
    const Gauge gauge = load_gauge(scratch / "gauge.yaml");
    const ScenarioFile scenario = load_scenario(scratch / "scenario.yaml");
    const Profile profile(scenario.steps);
    Rig rig = make_rig(load_rig(scratch / "rig.yaml"), (scratch / "rig.yaml").string(), gauge, scenario.seed);
    auto hand = std::make_unique<HandSource>(std::move(rig.source));
    const RunHooks person = hand->person();
    rig.source = std::move(hand);
    return run(gauge, scenario, profile, rig, person);
  }

  void files(const std::string& scenario) {
    const std::filesystem::path gauges = TACHPROOF_SOURCE_DIR "/fixtures/gauges";
    std::filesystem::copy_file(gauges / "drumlin-buttons.yaml", scratch / "gauge.yaml");
    scratch.write("scenario.yaml", scenario);
    scratch.write("rig.yaml", rig_text);
  }

  // Judged again it is the same; in less time than the person took for `did`, it was not that run.
  void expect_the_same_again(const RunRecord& record, const Journal& journal, std::size_t did) {
    const JudgedAgain again = judge_again(scratch / "run", record, journal);
    EXPECT_TRUE(again.same_capture);
    EXPECT_TRUE(again.same_timeline);
    RunRecord second = record;
    second.result = again.result;
    EXPECT_EQ(result_json(second), result_json(record));
    Journal hurried = journal;
    hurried.did[did].held -= 1;
    EXPECT_FALSE(judge_again(scratch / "run", record, hurried).same_capture);
  }

  RunRecord run(const Gauge& gauge, const ScenarioFile& scenario, const Profile& profile, Rig& rig,
                RunHooks hooks) {
    EvidenceLog evidence;
    hooks.evidence = &evidence;
    RunRecord record = begun(gauge, scenario, rig);
    RunFolder folder = RunFolder::create(scratch / "run", record, run_pages);
    for (const char* name : {"gauge.yaml", "scenario.yaml", "rig.yaml"})
      record.inputs.emplace_back(name, folder.keep_input(scratch / name, name));
    RunOutcome outcome =
        run_scenario({gauge, profile, scenario.noise, scenario.seed, scenario.judge}, rig, folder, hooks);
    record.result = std::move(outcome.result);
    find_causes(record, evidence, folder, scratch / "gauge.yaml", {});
    folder.finish(record, outcome.trace);
    return record;
  }

  RunRecord begun(const Gauge& gauge, const ScenarioFile& scenario, const Rig& rig) {
    RunRecord record;
    record.gauge = gauge;
    record.gauge_name = gauge.name;
    record.gauge_sha256 = sha256_of_file(scratch / "gauge.yaml");
    record.scenario_name = scenario.name;
    record.scenario_sha256 = sha256_of_file(scratch / "scenario.yaml");
    record.seed = scenario.seed;
    const SourceFacts source = rig.source->facts();
    const WatcherFacts watcher = rig.watcher->facts();
    record.source = source.kind;
    record.source_description = source.description;
    record.watch = watcher.kind;
    record.watch_description = watcher.description;
    record.bench = bench_facts(rig);
    record.started = "2031-03-14T09:26:53+01:00";
    record.tool_version = version;
    return record;
  }

  Verification verified() { return verify_run(scratch / "run", {run_pages, version}); }
  static std::string lines_of(const Verification& v) {
    std::string text;
    for (const Verification::Line& line : v.lines)
      if (line.kind != Verification::Kind::agrees) text += line.text + "\n";
    return text;
  }

  ScratchFolder scratch;
};

TEST_F(PressedVerify, ATakeThatPassesIsJudgedAgain) {
  const RunRecord record = play({});
  ASSERT_EQ(record.result.presses.size(), 1U);
  EXPECT_EQ(record.result.presses[0].verdict, Verdict::pass) << record.result.presses[0].remark;
  EXPECT_EQ(record.result.verdict, Verdict::pass);
  const Verification v = verified();
  EXPECT_EQ(v.outcome(), Verification::Kind::agrees) << lines_of(v);
  EXPECT_EQ(v.judged_again, Verdict::pass);
}

TEST_F(PressedVerify, APressThatWasIgnoredIsFoundAgain) {
  test::PressedUnit unit;
  unit.ignores = true;
  const RunRecord record = play(unit);
  EXPECT_EQ(record.result.verdict, Verdict::fail);
  ASSERT_FALSE(record.result.findings.empty());
  EXPECT_EQ(record.result.findings[0].kind, FindingKind::press_ignored);
  const Verification v = verified();
  EXPECT_EQ(v.outcome(), Verification::Kind::agrees) << lines_of(v);
  EXPECT_EQ(v.judged_again, Verdict::fail);
}

// What a person pressed and answered, and for how long the rpm was kept meanwhile, is in the journal.
TEST_F(PressedVerify, APressByHandIsJudgedAgainInItsOwnTime) {
  const RunRecord record = play_by_hand();
  ASSERT_EQ(record.result.presses.size(), 1U);
  EXPECT_EQ(record.result.presses[0].verdict, Verdict::pass) << record.result.presses[0].remark;
  EXPECT_EQ(record.result.verdict, Verdict::pass);
  const Gauge gauge = load_gauge(scratch / "gauge.yaml");
  const Journal journal = read_journal(scratch / "run/journal.jsonl", 1'000'000);
  ASSERT_EQ(journal.did.size(), 2U);
  EXPECT_EQ(journal.did[0].action, "set");
  EXPECT_GT(journal.did[0].held, 0U);
  EXPECT_EQ(journal.did[1].text, "yes");
  EXPECT_GT(journal.did[1].held, 0U);
  expect_the_same_again(record, journal, 0);
}

TEST_F(PressedVerify, ACutByHandIsJudgedAgainInItsOwnTime) {
  const RunRecord record = play_by_hand(
      "  - {ramp: 4155, for: 1s}\n"
      "  - {hold: 4155, for: 500ms}\n"
      "  - {power: off, for: 2s}\n"
      "  - {hold: 4155, for: 4s}\n"
      "  - {ramp: 3200, for: 1s}\n"
      "  - {ramp: 4800, rate: 100}\n"
      "  - {ramp: 3200, rate: 100}\n"
      "  - {ramp: 4800, rate: 400}\n"
      "  - {ramp: 3200, rate: 400}\n");
  ASSERT_EQ(record.result.powers.size(), 1U);
  EXPECT_EQ(record.result.powers[0].verdict, Verdict::pass) << record.result.powers[0].remark;
  const Journal journal = read_journal(scratch / "run/journal.jsonl", 1'000'000);
  ASSERT_EQ(journal.did.size(), 3U);
  EXPECT_EQ(journal.did[1].fed, "cut");
  EXPECT_EQ(journal.did[2].fed, "back");
  EXPECT_GT(journal.did[2].held, 0U);
  expect_the_same_again(record, journal, 2);
}

// Two questions for a ramp: where it begins, and where it ends.
TEST_F(PressedVerify, AVoltageSetByHandIsJudgedAgainInItsOwnTime) {
  const RunRecord record = play_by_hand(
      "  - {supply: 12V, to: 9V, for: 500ms}\n"
      "  - {hold: 3200, for: 500ms}\n"
      "  - {ramp: 4800, rate: 100}\n"
      "  - {ramp: 3200, rate: 100}\n");
  EXPECT_EQ(record.result.verdict, Verdict::pass);
  std::vector<std::string> states;
  for (const StateResult& state : record.result.states) states.push_back(state.state);
  EXPECT_THAT(states, testing::Contains(testing::HasSubstr("at 9.0 V")));
  const Journal journal = read_journal(scratch / "run/journal.jsonl", 1'000'000);
  ASSERT_EQ(journal.did.size(), 3U);
  EXPECT_EQ(journal.did[1].fed, "set");
  EXPECT_EQ(journal.did[2].fed, "set");
  EXPECT_GT(journal.did[2].held, 0U);
  expect_the_same_again(record, journal, 2);
}

// A forger who makes the ignored press a pass changes a row that the evidence contradicts.
TEST_F(PressedVerify, APressThatIsStatedOtherwiseDiffers) {
  test::PressedUnit unit;
  unit.ignores = true;
  const RunRecord record = play(unit);
  RunRecord forged = load_run(scratch / "run").record;
  forged.result.presses[0].verdict = Verdict::pass;
  forged.result.presses[0].refused = false;
  scratch.write("run/result.json", result_json(forged));
  EXPECT_THAT(lines_of(verified()),
              testing::HasSubstr("presses[0].refused is false in result.json and true"));
}

}  // namespace
}  // namespace tachproof
