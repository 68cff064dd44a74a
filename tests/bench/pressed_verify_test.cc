// A stored run with a press is judged again from its evidence: the press is the scenario's.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "bench/files/files.h"
#include "bench/record/result_json.h"
#include "bench/reports/run_report.h"
#include "bench/rigs/factory.h"
#include "bench/run/find_causes.h"
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

class PressedVerify : public testing::Test {
 protected:
  // Plays the scenario on the Drumlin with buttons, and keeps the run in `run`.
  RunRecord play(const test::PressedUnit& unit) {
    const std::filesystem::path gauges = TACHPROOF_SOURCE_DIR "/fixtures/gauges";
    std::filesystem::copy_file(gauges / "drumlin-buttons.yaml", scratch / "gauge.yaml");
    scratch.write("scenario.yaml", scenario_text);
    scratch.write("rig.yaml", rig_text);
    const Gauge gauge = load_gauge(scratch / "gauge.yaml");
    const ScenarioFile scenario = load_scenario(scratch / "scenario.yaml");
    const Profile profile(scenario.steps);
    Rig rig = make_rig(load_rig(scratch / "rig.yaml"), (scratch / "rig.yaml").string(), gauge, scenario.seed);
    rig.watcher = std::make_unique<PressedWatcher>(std::move(rig.watcher), unit.watch(gauge, profile));
    RunRecord record = begun(gauge, scenario, rig);
    RunFolder folder = RunFolder::create(scratch / "run", record, run_pages);
    for (const char* name : {"gauge.yaml", "scenario.yaml", "rig.yaml"})
      record.inputs.emplace_back(name, folder.keep_input(scratch / name, name));
    EvidenceLog evidence;
    RunHooks hooks;
    hooks.evidence = &evidence;
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
