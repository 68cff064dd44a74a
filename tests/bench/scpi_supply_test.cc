// A power supply beside a signal generator: both simulated, behind real sockets and in virtual time.
#include "bench/rigs/scpi/scpi_supply.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "bench/rigs/factory.h"
#include "tests/bench/error_of.h"
#include "tests/bench/scpi_bench.h"

namespace tachproof {
namespace {

using test::GeneratorNature, test::OutputState, test::SimulatedGenerator;
using testing::AllOf;
using testing::HasSubstr;
using testing::StartsWith;

// Fed and heard by what both have really put out.
class UnitOnBoth : public Watcher {
 public:
  UnitOnBoth(const SimulatedGenerator& generator, const SimulatedGenerator& supply, RunZero zero,
             const Behaviour& behaviour, const Gauge& gauge)
      : generator_(generator),
        supply_(supply),
        zero_(std::move(zero)),
        wire_(std::make_shared<PulseWire>()),
        unit_(simulated_watcher(wire_, gauge, behaviour, gauge, 1)) {}
  WatcherFacts facts() const override { return unit_->facts(); }
  void begin() override { unit_->begin(); }
  Seen collect(Nanos until, std::vector<LampEvent>& out) override {
    const std::vector<OutputState> fed = supply_.output(), output = generator_.output();
    for (; fed_ < fed.size() && fed[fed_].at - **zero_ <= until; ++fed_)
      if (const Nanos at = fed[fed_].at - **zero_; at > 0)
        wire_->actions.push_back({at, Supply{fed[fed_].volts, fed[fed_].volts, 0}});
    for (; next_ < output.size() && output[next_].at - **zero_ <= until; ++next_)
      pulses_.frequency(std::max<Nanos>(output[next_].at - **zero_, 0), output[next_].hz, *wire_);
    pulses_.run_until(until, *wire_);
    return unit_->collect(until, out);
  }
  void end() noexcept override { unit_->end(); }

 private:
  const SimulatedGenerator &generator_, &supply_;
  RunZero zero_;
  std::shared_ptr<PulseWire> wire_;
  EvenPulses pulses_;
  std::size_t next_ = 0, fed_ = 0;
  std::unique_ptr<Watcher> unit_;
};

class ScpiSupply : public test::Scpi {
 protected:
  void SetUp() override {
    Scpi::SetUp();
    gauge.power_up = PowerUp{200 * ns_per_ms, 900 * ns_per_ms, {}, {}};
    gauge.supply = SupplyRange{9, 16};
    behaviour.boot_ms = 500;
    fed.volts = 13.8;
    fed.limit_a = 2;
    fed.lowest_v = 6;
    generator_is();
  }

  void supply_is(GeneratorNature nature = {}) {
    nature.feeds = true;
    nature.most_v = std::max(nature.most_v, 20.0);
    nature.answers_in = std::max(nature.answers_in, 8 * ns_per_ms);
    nature.name = "Tarn Instruments,TP1,0007,1.0";
    supply = std::make_unique<SimulatedGenerator>(clock, nature);
    fed.address = supply->address();
  }

  Rig rig() {
    std::unique_ptr<ScpiSource> from = source();
    zero = from->zero();
    Rig both =
        paced_by(std::move(from), std::make_unique<UnitOnBoth>(*generator, *supply, zero, behaviour, gauge));
    const InstrumentAddress address{fed.address, fed.baud};
    auto device = std::make_unique<PowerSupply>(
        fed, clock, [address] { return open_instrument(address); }, test::patience);
    return with_supply(std::move(both), fed, std::move(device), clock, SourceClock::host,
                       PowerWatch::awake_by(gauge, 0));
  }

  RunResult run(const std::vector<Step>& steps, const RunHooks& hooks = {}) {
    const Profile profile(steps);
    RunRecord record;
    record.gauge = gauge;
    RunFolder folder = RunFolder::create(scratch / "run", record);
    Rig fed_rig = rig();
    return run_scenario({gauge, profile, {}, 1, {true, true, true, false}}, fed_rig, folder, hooks).result;
  }
  static std::vector<Step> cut() {
    return {Hold{3100, 2 * ns_per_s}, PowerOff{2 * ns_per_s}, Hold{3100, 3 * ns_per_s}};
  }

  // A run with a fault of the supply in its middle.
  std::string lost(const GeneratorNature& nature) {
    supply_is(nature);
    const RunResult result = run(cut());
    EXPECT_EQ(result.verdict, Verdict::undecided);
    EXPECT_FALSE(result.complete);
    EXPECT_FALSE(generator->output_on());
    if (result.findings.empty()) return "no finding";
    EXPECT_EQ(result.findings.front().kind, FindingKind::bench_fault);
    return result.findings.front().message;
  }
  std::string journal() const {
    std::stringstream text;
    text << std::ifstream(scratch / "run" / "journal.jsonl").rdbuf();
    return text.str();
  }

  Behaviour behaviour;
  PowerSupplySetting fed;
  std::unique_ptr<SimulatedGenerator> supply;
};

TEST_F(ScpiSupply, ASoundUnitWakesInTimeAndPasses) {
  supply_is();
  const RunResult result = run(cut());
  EXPECT_EQ(result.verdict, Verdict::pass);
  ASSERT_EQ(result.powers.size(), 1U);
  const PowerResult& power = result.powers[0];
  EXPECT_EQ(power.verdict, Verdict::pass) << power.remark;
  EXPECT_NEAR(power.boot_ms, 500, power.expanded_uncertainty_ms);
  EXPECT_FALSE(supply->output_on());
  EXPECT_FALSE(supply->keys_locked());
}

TEST_F(ScpiSupply, AUnitThatWakesTooLateFails) {
  supply_is();
  behaviour.boot_ms = 1800;
  const RunResult result = run(cut());
  EXPECT_EQ(result.verdict, Verdict::fail);
  EXPECT_TRUE(std::any_of(result.findings.begin(), result.findings.end(),
                          [](const Finding& f) { return f.kind == FindingKind::slow_boot; }));
}

// It is cut and fed again when the judge was told, at the latest and at the soonest.
TEST_F(ScpiSupply, WhatItPutsOutKeepsThePromiseToTheJudge) {
  GeneratorNature nature;
  nature.changes_in = 60 * ns_per_ms;
  supply_is(nature);
  const RunResult result = run(cut());
  const SourceTiming promised = with_scpi_supply(fed, {}, SourceClock::host);
  std::vector<OutputState> changes;
  for (const OutputState& state : supply->output())
    if (state.at > **zero) changes.push_back(state);
  ASSERT_EQ(changes.size(), 3U);  // off, on, and off at the end
  EXPECT_EQ(changes[0].volts, 0);
  EXPECT_EQ(changes[1].volts, 13.8);
  const Nanos off = changes[0].at - **zero, on = changes[1].at - **zero;
  EXPECT_GE(off, 2 * ns_per_s);
  EXPECT_LE(off, 2 * ns_per_s + promised.switch_to);
  EXPECT_GE(on, 4 * ns_per_s + promised.switch_from - stepped_timing(setting).change);
  EXPECT_LE(on, 4 * ns_per_s + promised.switch_to);
  EXPECT_TRUE(result.complete);
}

TEST_F(ScpiSupply, ARampIsPlayedInStepsAndEachIsInTheJournal) {
  supply_is();
  const RunResult result = run({Hold{2000, ns_per_s}, Supply{13.8, 10, 2 * ns_per_s}, Hold{2000, ns_per_s}});
  EXPECT_TRUE(result.complete);
  std::vector<double> volts;
  for (const OutputState& state : supply->output())
    if (state.at > **zero && state.volts > 0) volts.push_back(state.volts);
  ASSERT_GT(volts.size(), 10U);
  EXPECT_TRUE(std::is_sorted(volts.rbegin(), volts.rend()));
  EXPECT_DOUBLE_EQ(volts.back(), 10);
  EXPECT_THAT(journal(), HasSubstr(R"({"kind":"supplied","due_s":1.0,)"));
  EXPECT_THAT(journal(), HasSubstr(R"("volts":10.0,"within_v":0.1})"));
}

TEST_F(ScpiSupply, VoltsAndLimitAreSetBeforeTheOutputIsOnAndTheOutputIsOffAtTheEnd) {
  supply_is();
  run({Hold{2000, 500 * ns_per_ms}});
  const std::vector<std::string> messages = supply->messages();
  const auto first = [&](const std::string& start) {
    return std::find_if(messages.begin(), messages.end(),
                        [&](const auto& m) { return m.find(start) != m.npos; });
  };
  EXPECT_LT(first("CURR 2;"), first("OUTP ON"));
  EXPECT_LT(first("VOLT 13.8;"), first("OUTP ON"));
  ASSERT_GE(messages.size(), 3U);
  EXPECT_THAT(std::vector(messages.end() - 3, messages.end()),
              testing::ElementsAre("OUTP OFF;:OUTP?", "SYST:LOC", "SYST:ERR?"));
}

TEST_F(ScpiSupply, AStoppedRunIsUndecidedWithBothOutputsOff) {
  supply_is();
  RunHooks hooks;
  hooks.stop = [&]() -> std::optional<std::string> {
    if (!generator->output_on()) return std::nullopt;
    return "the run was stopped by SIGINT";
  };
  const RunResult result = run(cut(), hooks);
  EXPECT_EQ(result.verdict, Verdict::undecided);
  EXPECT_FALSE(supply->output_on());
  EXPECT_FALSE(generator->output_on());
  ASSERT_FALSE(result.findings.empty());
  EXPECT_THAT(result.findings.front().message, HasSubstr("the power supply's output is off, confirmed"));
}

TEST_F(ScpiSupply, OneThatTripsIsNamed) {
  GeneratorNature nature;
  nature.trips_after = 3 * ns_per_s;
  const std::string message = lost(nature);
  EXPECT_THAT(message, AllOf(StartsWith("the power supply at " + fed.address +
                                        " no longer does what was set: its output is off (set: on)"),
                             HasSubstr("Output overload"), HasSubstr("its output is off, confirmed")));
  EXPECT_FALSE(supply->output_on());
}

TEST_F(ScpiSupply, OneThatCannotHoldItsVoltageIsNamed) {
  GeneratorNature nature;
  nature.sags_to = 4.2;
  supply_is(nature);
  const RunResult result = run(cut());
  EXPECT_EQ(result.verdict, Verdict::undecided);
  ASSERT_FALSE(result.findings.empty());
  EXPECT_THAT(result.findings.front().message, HasSubstr("it measures 4.2 V at its output (set: 13.8)"));
  EXPECT_FALSE(supply->output_on());
}

TEST_F(ScpiSupply, AVoltageChangedByAnotherHandIsNamed) {
  GeneratorNature nature;
  nature.hand_after = 3 * ns_per_s;
  nature.hand_volts = 11;
  EXPECT_THAT(lost(nature), HasSubstr("its voltage is set to 11 V (set: 13.8)"));
  EXPECT_FALSE(supply->output_on());
}

// Whatever message it fails at: a question without an answer is no pass, and its output is off or said to be
// perhaps on.
TEST_F(ScpiSupply, FailingAtAnyMessageIsNoFailAndLeavesNothingOnUnsaid) {
  supply_is();
  run(cut());
  const std::vector<std::string> all = supply->messages();
  ASSERT_GT(all.size(), 15U);
  for (std::size_t at = 1; at <= all.size(); at += 3)
    for (int GeneratorNature::*how :
         {&GeneratorNature::silent_at, &GeneratorNature::hangs_up_at, &GeneratorNature::garbage_at}) {
      GeneratorNature nature;
      nature.*how = static_cast<int>(at);
      generator_is();
      supply_is(nature);
      std::filesystem::remove_all(scratch / "run");
      std::string said;
      Verdict verdict = Verdict::undecided;
      try {
        const RunResult result = run(cut());
        verdict = result.verdict;
        for (const Finding& finding : result.findings) said += finding.message + "\n";
      } catch (const RigError& e) {
        said = e.what();
      }
      EXPECT_NE(verdict, Verdict::fail) << at << said;
      const bool in_the_run = at + 4 < all.size() && all[at - 1].find("ERR?") == std::string::npos;
      if (in_the_run && nature.garbage_at == 0 && all[at - 1].find('?') != std::string::npos) {
        EXPECT_NE(verdict, Verdict::pass) << at << all[at - 1];
      }
      EXPECT_FALSE(generator->output_on()) << at << said;
      if (supply->output_on()) {
        EXPECT_THAT(said, HasSubstr("may still be on")) << at;
      }
    }
}

TEST_F(ScpiSupply, OneThatRefusesItsVoltageIsNotUsed) {
  GeneratorNature nature;
  nature.feeds = true;
  nature.most_v = 10;
  supply = std::make_unique<SimulatedGenerator>(clock, nature);
  fed.address = supply->address();
  EXPECT_THAT(error_of([&] { rig(); }), AllOf(HasSubstr("the power supply at " + fed.address),
                                              HasSubstr("-222,\"Data out of range\"")));
  EXPECT_FALSE(supply->output_on());
}

TEST_F(ScpiSupply, AnswersThatTakeTooLongAreRefusedBeforeTheStart) {
  GeneratorNature nature;
  nature.answers_in = 80 * ns_per_ms;
  supply_is(nature);
  const RunResult result = run(cut());
  EXPECT_EQ(result.verdict, Verdict::undecided);
  ASSERT_FALSE(result.findings.empty());
  EXPECT_THAT(result.findings.front().message, HasSubstr("set `answer_ms: "));
  EXPECT_FALSE(supply->output_on());
}

TEST_F(ScpiSupply, ACutThatIsShorterThanItCanSwitchIsRefused) {
  supply_is();
  Rig fed_rig = rig();
  const Profile profile(std::vector<Step>{Hold{3100, ns_per_s}, PowerOff{50 * ns_per_ms}});
  EXPECT_THAT(fed_rig.source->cannot_play({profile, 3, {}, false}).value_or(""),
              StartsWith("it cuts the supply for 50 ms; the power supply at "));
}

// ---- what a scenario may ask ---------------------------------------------------------

std::string refused(std::optional<SupplyRange> stands, std::optional<double> from, std::optional<double> to,
                    double lowest, double highest) {
  Gauge gauge = test::two_windows();
  gauge.supply = stands;
  RigFile rig;
  rig.source.kind = "board";
  RigFile::SupplyPart& part = rig.supply.emplace(RigFile::SupplyPart{});
  part.kind = "scpi";
  PowerSupplySetting& setting = part.scpi.emplace();
  setting.volts = 13;
  setting.lowest_v = from;
  setting.highest_v = to;
  ScenarioFile scenario;
  scenario.supplied = {{lowest, highest, 7, 5}};
  const std::vector<FileError> errors = refused_supply(rig, gauge, scenario, "lane.yaml");
  return errors.empty() ? "" : to_line(errors.front());
}

TEST(ScpiSupplyBounds, AScenarioThatAsksForMoreIsRefusedAtItsStep) {
  const SupplyRange stands{9, 16};
  EXPECT_EQ(refused(stands, {}, {}, 9, 16), "");
  EXPECT_EQ(refused(stands, {}, {}, 9, 17), "lane.yaml:7:5: a supply of 17 V; the gauge stands at most 16 V");
  EXPECT_EQ(refused(stands, 6, {}, 6, 12), "");
  EXPECT_EQ(refused(stands, {}, {}, 6, 12),
            "lane.yaml:7:5: a supply of 6 V; the gauge wants at least 9 V; for a dip below that, say in the "
            "rig's supply how low it may go: `from`");
  EXPECT_EQ(refused(stands, 7, {}, 6, 12),
            "lane.yaml:7:5: a supply of 6 V; the rig's supply goes no lower than 7 V");
  EXPECT_EQ(refused(stands, 6, 14, 6, 15),
            "lane.yaml:7:5: a supply of 15 V; the rig's supply gives at most 14 V");
  EXPECT_EQ(
      refused({}, {}, {}, 12, 12),
      "lane.yaml:7:5: a supply of 12 V; neither the gauge's `supply` nor `to` in the rig's says how much "
      "the unit stands");
}

}  // namespace
}  // namespace tachproof
