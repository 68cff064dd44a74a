// Presses and losses of power through the board's outputs, and by a hand where it has none.
//
// TACHPROOF_FULL=1 takes the scenario that ships.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fmt/format.h>

#include <cstdlib>
#include <set>

#include "bench/firmware/protocol.h"
#include "bench/rigs/scpi/scpi_supply.h"
#include "bench/rigs/simulated/simulated_rig.h"
#include "tests/bench/fault_examples.h"
#include "tests/bench/files_cases.h"
#include "tests/bench/judged_unit.h"
#include "tests/bench/simulated_generator.h"
#include "tests/emulated_board/bench_with_board.h"
#include "tests/emulated_board/direct_host.h"
#include "tests/emulated_board/unit_on_pins.h"

namespace tachproof {
namespace {

using testing::HasSubstr;

bool full_size() { return std::getenv("TACHPROOF_FULL") != nullptr; }

// What of scenarios/buttons.yaml shows every fault of buttons and supply.
std::vector<Step> short_buttons() {
  std::vector<Step> steps{Hold{2000, ns_per_s}};
  const auto stand = [&](double rpm) {
    steps.insert(steps.end(), {RampByTime{rpm, ns_per_s}, Hold{rpm, 500 * ns_per_ms}});
  };
  const auto take = [&](double rpm) {
    stand(rpm);
    steps.insert(steps.end(), {Press{"set", 200 * ns_per_ms}, Hold{rpm, 500 * ns_per_ms}});
  };
  const auto cross = [&](double low, double high) {
    steps.push_back(RampByTime{low, ns_per_s});
    for (const double rate : {150.0, 600.0})
      for (const double to : {high, low}) {
        steps.push_back(RampByRate{to, rate});
        steps.push_back(Hold{to, 400 * ns_per_ms});
      }
  };
  take(2600), cross(2240, 3120);
  take(6000), cross(2240, 3120);
  take(4210), cross(3850, 4730);
  stand(4155);
  for (int i = 0; i < 4; ++i)
    steps.insert(steps.end(), {Press{"glow", 200 * ns_per_ms}, Hold{4155, 1500 * ns_per_ms}});
  steps.insert(steps.end(), {PowerOff{2 * ns_per_s}, Hold{4155, 4 * ns_per_s}});
  cross(3850, 4730);
  Ask peak;
  peak.question = "Highest rpm?";
  peak.wants = Ask::Wants::peak;
  peak.within = 10;
  steps.push_back(peak);
  for (int i = 0; i < 2; ++i)
    steps.insert(steps.end(), {Press{"high", 200 * ns_per_ms}, Hold{3850, 500 * ns_per_ms}});
  steps.push_back(peak);
  return steps;
}

class ButtonsOnBoard : public testing::Test {
 protected:
  ButtonsOnBoard() {
    sound.response_ms = 20;
    settings.wires = one_input_each(gauge);
    settings.actions = {"set", "glow"};
    settings.supply = {0, 0};
  }

  static std::vector<Step> steps() {
    return full_size() ? load_scenario(source_path("scenarios/buttons.yaml")).steps : short_buttons();
  }

  RunResult simulated(const Behaviour& behaviour, const std::vector<Step>& played) {
    Rig rig = simulated_rig(gauge, behaviour, gauge, 1);
    return run_on(rig, gauge, Profile(played), what);
  }

  // A person presses what the board has no output for, and reads the dial.
  RunResult on_board(const Behaviour& behaviour, const std::vector<Step>& played) {
    auto on_pins = std::make_unique<UnitOnPins>(SimulatedUnit(gauge, behaviour, gauge, 1), settings.wires,
                                                true, settings.actions);
    UnitOnPins& unit = *on_pins;
    BenchWithBoard bench(settings, std::move(on_pins));
    RunHooks hooks;
    hooks.ask_person = [&, asked = 0](const Ask& ask, Nanos) mutable -> std::optional<Reply> {
      if (asked++ < thinks) return std::nullopt;
      asked = 0;
      questions.push_back(ask.question);
      if (ask.button == "supply") {
        if (does_it) unit.supply_is_on(!ask.question.starts_with("Cut"));
      } else if (!ask.button.empty()) {
        unit.press(ask.button);
      }
      return Reply{fmt::format("{}", unit.peak_rpm())};
    };
    const RunResult result = run_on(bench.rig(), gauge, Profile(played), what, hooks);
    const std::vector<PinLevels>& outputs = bench.board().output_changes();
    EXPECT_EQ(outputs.empty() ? 0 : outputs.back().levels, 0) << "an output is left on";
    return result;
  }

  static std::set<std::string> kinds(const RunResult& result) {
    std::set<std::string> all;
    for (const Finding& finding : result.findings) all.insert(std::string(word(finding.kind)));
    return all;
  }

  Gauge gauge = load_gauge(source_path("fixtures/gauges/drumlin-buttons.yaml"));
  Behaviour sound;
  BoardSettings settings;
  JudgeWhat what{true, true, true, false};
  std::vector<std::string> questions;
  int thinks = 3;       // askings before he has done it
  bool does_it = true;  // at the supply; he says so in any case
};

TEST_F(ButtonsOnBoard, ASoundUnitPassesAsOnTheSimulator) {
  what.thresholds = full_size();
  const RunResult s = simulated(sound, steps()), b = on_board(sound, steps());
  EXPECT_EQ(s.verdict, Verdict::pass) << test::told(s);
  EXPECT_EQ(b.verdict, Verdict::pass) << test::told(b);
  ASSERT_EQ(b.powers.size(), 1U);
  EXPECT_EQ(b.powers[0].verdict, Verdict::pass) << b.powers[0].remark;
  EXPECT_NEAR(b.powers[0].boot_ms, s.powers.at(0).boot_ms, b.powers[0].expanded_uncertainty_ms + 1);
  EXPECT_EQ(b.presses.size(), s.presses.size());
  EXPECT_THAT(questions, testing::Not(testing::Contains(HasSubstr("supply"))));
}

TEST_F(ButtonsOnBoard, EveryFaultOfAHandIsCaughtAsOnTheSimulator) {
  for (const FaultSetting& fault : test::pressed_fault_examples()) {
    Behaviour behaviour = sound;
    behaviour.faults = {fault};
    const RunResult s = simulated(behaviour, steps()), b = on_board(behaviour, steps());
    EXPECT_EQ(s.verdict, Verdict::fail) << fault.kind << "\n" << test::told(s);
    EXPECT_EQ(b.verdict, Verdict::fail) << fault.kind << "\n" << test::told(b);
    EXPECT_EQ(kinds(b), kinds(s)) << fault.kind << "\nsimulator: " << test::told(s)
                                  << "\nboard: " << test::told(b);
  }
}

// Without an output for the supply a person is asked, while the train plays on.
class SupplyByHandOnBoard : public ButtonsOnBoard {
 protected:
  SupplyByHandOnBoard() { settings.supply.reset(); }

  // A take, a loss of power after it, and the boundaries crossed again.
  static std::vector<Step> cut() {
    std::vector<Step> steps{Hold{2000, ns_per_s}, RampByTime{4210, ns_per_s}, Hold{4210, 500 * ns_per_ms},
                            Press{"set", 200 * ns_per_ms}, Hold{4210, 500 * ns_per_ms}};
    const auto cross = [&] {
      steps.push_back(RampByTime{3850, ns_per_s});
      for (const double rate : {150.0, 600.0})
        for (const double to : {4730.0, 3850.0}) {
          steps.push_back(RampByRate{to, rate});
          steps.push_back(Hold{to, 400 * ns_per_ms});
        }
    };
    cross();
    steps.insert(steps.end(), {RampByTime{4155, 500 * ns_per_ms}, Hold{4155, 500 * ns_per_ms},
                               PowerOff{2 * ns_per_s}, Hold{4155, 4 * ns_per_s}});
    cross();
    return steps;
  }
};

TEST_F(SupplyByHandOnBoard, ASoundUnitAndAPersonWhoDoesItPass) {
  const RunResult result = on_board(sound, cut());
  EXPECT_EQ(result.verdict, Verdict::pass) << test::told(result);
  EXPECT_THAT(questions, testing::ElementsAre("Cut the unit's supply now, then Enter",
                                              "Switch the unit's supply on again, then Enter"));
  ASSERT_EQ(result.powers.size(), 1U);
  EXPECT_GT(result.powers[0].expanded_uncertainty_ms, 100);
}

TEST_F(SupplyByHandOnBoard, APersonWhoDoesNotCutItIsUndecidedAndToldSo) {
  does_it = false;
  const RunResult result = on_board(sound, cut());
  EXPECT_EQ(result.verdict, Verdict::undecided) << test::told(result);
  ASSERT_EQ(result.powers.size(), 1U);
  EXPECT_THAT(result.powers[0].remark, HasSubstr("you said at "));
}

TEST_F(SupplyByHandOnBoard, AUnitThatForgetsItsTakeFails) {
  Behaviour behaviour = sound;
  behaviour.faults = {{"take-lost", {}, {}}};
  const RunResult result = on_board(behaviour, cut());
  EXPECT_EQ(result.verdict, Verdict::fail) << test::told(result);
  EXPECT_TRUE(kinds(result).contains("settings-lost")) << test::told(result);
}

// A power supply that speaks SCPI beside the board: it is told what is due while the board plays on.
class PowerSupplyOnBoard : public SupplyByHandOnBoard {
 protected:
  PowerSupplyOnBoard() {
    test::GeneratorNature nature;
    nature.feeds = true;
    nature.most_v = 20;
    supply = std::make_unique<test::SimulatedGenerator>(clock, nature);
  }

  RunResult fed(const Behaviour& behaviour) {
    PowerSupplySetting setting;
    setting.address = supply->address();
    setting.volts = 13.8;
    setting.limit_a = 2;
    auto on_pins = std::make_unique<UnitOnPins>(SimulatedUnit(gauge, behaviour, gauge, 1), settings.wires,
                                                true, settings.actions);
    UnitOnPins& unit = *on_pins;
    BenchWithBoard bench(settings, std::move(on_pins));
    const InstrumentAddress address{setting.address, setting.baud};
    auto device =
        std::make_unique<PowerSupply>(setting, clock, [address] { return open_instrument(address); });
    bench.rig() =
        with_supply(std::move(bench.rig()), setting, std::move(device), clock, SourceClock::device, ns_per_s);
    RunHooks hooks;
    // Between two stretches of the train the unit gets what the supply gives.
    hooks.stop = [&, was_on = true]() mutable -> std::optional<std::string> {
      const bool on = supply->output_on();
      if (begun && on != was_on) unit.supply_is_on(on), was_on = on;
      begun = begun || on;
      return std::nullopt;
    };
    return run_on(bench.rig(), gauge, Profile(cut()), what, hooks);
  }

  std::shared_ptr<test::VirtualClock> clock = std::make_shared<test::VirtualClock>();
  std::unique_ptr<test::SimulatedGenerator> supply;
  bool begun = false;
};

TEST_F(PowerSupplyOnBoard, ASoundUnitPassesAndTheSupplyIsOffAtTheEnd) {
  const RunResult result = fed(sound);
  EXPECT_EQ(result.verdict, Verdict::pass) << test::told(result);
  ASSERT_EQ(result.powers.size(), 1U);
  EXPECT_EQ(result.powers[0].verdict, Verdict::pass) << result.powers[0].remark;
  EXPECT_FALSE(supply->output_on());
}

TEST_F(PowerSupplyOnBoard, AUnitThatForgetsItsTakeFails) {
  Behaviour behaviour = sound;
  behaviour.faults = {{"take-lost", {}, {}}};
  const RunResult result = fed(behaviour);
  EXPECT_EQ(result.verdict, Verdict::fail) << test::told(result);
  EXPECT_TRUE(kinds(result).contains("settings-lost")) << test::told(result);
  EXPECT_FALSE(supply->output_on());
}

// The chip's pins, whatever ends the run.
TEST(FirmwareSupply, TheOutputIsBackAtTheEndOfARunAndAtWhateverStopsIt) {
  const auto ends_off = [](std::vector<std::uint16_t> entries, bool silent) {
    DirectHost host;
    host.hello();
    host.arm();
    entries.insert(entries.begin() + 1, outputs_entry(link_output_sync_lamp | link_output_supply_off));
    if (silent) {
      host.send(link_train, train_payload(entries));
      host.send(link_start);
      host.run_for(1500 * ns_per_ms);
    } else {
      host.play(entries);
    }
    bool was_off = false;
    for (const PinLevels& change : host.board.output_changes())
      was_off = was_off || (change.levels & link_output_supply_off) != 0;
    EXPECT_TRUE(was_off);
    return host.board.output_changes().back().levels;
  };
  EXPECT_EQ(ends_off({4000, 4000, 4000, link_entry_end}, false), 0);  // its end
  EXPECT_EQ(ends_off({4000, 4000, 4000}, false), 0);                  // an empty queue
  EXPECT_EQ(ends_off({4000, 50, 4000, link_entry_end}, false), 0);    // an entry that means nothing
  EXPECT_EQ(ends_off(std::vector<std::uint16_t>(30, 0x8000 | 32'000), true), 0);  // the host falls silent
}

}  // namespace
}  // namespace tachproof
