// The judge against the simulated unit: healthy units pass, every fault of the
// catalogue is caught.
#include "tests/bench/judged_unit.h"

#include <gtest/gtest.h>

#include <map>
#include <random>

#include "bench/files/files.h"
#include "bench/run/fault_trials.h"
#include "tests/bench/fault_examples.h"
#include "tests/bench/unit_scene.h"

namespace tachproof {
namespace {

// Gauges that nobody designed: 1 to 8 lamps, 2 to 12 windows, any pulse count.
Gauge random_gauge(std::mt19937_64& random) {
  const auto between = [&](int low, int high) {
    return low + static_cast<int>(random() % static_cast<std::uint64_t>(high - low + 1));
  };
  Gauge g;
  g.name = "random";
  const double ppr[] = {0.5, 1, 1.5, 2, 2.5, 3, 4, 6, 12, 60};
  g.pulses_per_rev = ppr[between(0, 9)];
  const int lamps = between(1, 8);
  for (int i = 0; i < lamps; ++i) g.lamps.push_back({"lamp-" + std::to_string(i), {"white", "blue"}});
  g.tolerance.rpm = between(3, 8);
  g.tolerance.response_from = between(0, 5) * ns_per_ms;
  // A slow signal needs a patient gauge file: five periods at 2,000 rpm.
  const Nanos five_periods = from_seconds(5 * 60 / (g.pulses_per_rev * 2000));
  g.tolerance.response_to = std::max(between(100, 200) * ns_per_ms, five_periods);
  g.deadband = {static_cast<double>(between(4, 20)), static_cast<Sits>(between(0, 2))};
  g.blink = Blink{between(2, 8) / 1.0, between(3, 7) / 10.0};
  const int windows = between(2, 12);
  double from = 0;
  Cue last;
  for (int w = 0; w < windows; ++w) {
    Cue cue;
    do {
      cue = {};
      for (int lamp = 0; lamp < lamps; ++lamp) {
        const Channels white = Channels{1} << (2 * lamp);
        switch (between(0, 5)) {
          case 0: cue.steady |= white; break;
          case 1: cue.steady |= white << 1; break;
          case 2:
            if (between(0, 2) == 0) cue.blinking |= white;
            break;
          default: break;
        }
      }
      // Neighbours must differ by more than a blink.
    } while (w > 0 && (cue.steady & ~last.steady & ~last.blinking) == 0 &&
             (last.steady & ~cue.steady & ~cue.blinking) == 0);
    g.windows.push_back({"window-" + std::to_string(w), from, cue});
    last = cue;
    from += w == 0 ? between(2000, 4000) : between(static_cast<int>(g.deadband.rpm) + 60, 700);
  }
  return g;
}

TEST(JudgedUnit, AThousandHealthyRandomUnitsRaiseNoAlarm) {
  std::mt19937_64 random(2026);
  std::map<Verdict, int> verdicts;
  for (int i = 0; i < 1000; ++i) {
    const Gauge gauge = random_gauge(random);
    ASSERT_TRUE(problems_of(gauge).empty()) << i;
    const Profile profile{test::proving_steps(gauge)};
    const RunResult result = test::judge_unit(gauge, gauge, {}, profile, random());
    ++verdicts[result.verdict];
    ASSERT_NE(result.verdict, Verdict::fail)
        << "unit " << i << " ppr " << gauge.pulses_per_rev << " T " << gauge.tolerance.rpm << " response to "
        << to_ms(gauge.tolerance.response_to) << "\n"
        << test::told(result);
  }
  // Undecided is no alarm, but a judge that never decides proves nothing.
  EXPECT_GE(verdicts[Verdict::pass], 950) << verdicts[Verdict::undecided] << " undecided";
}

TEST(JudgedUnit, EveryFaultOfTheCatalogueIsCaught) {
  const Gauge gauge = test::test_gauge();
  const Profile profile{test::proving_steps(gauge)};
  const RunResult healthy = test::judge_unit(gauge, gauge, {}, profile, 1);
  EXPECT_EQ(healthy.verdict, Verdict::pass) << test::told(healthy);
  std::map<std::string, int> seen;
  for (const FaultSetting& fault : test::fault_examples()) {
    Behaviour behaviour;
    behaviour.faults = {fault};
    for (std::uint64_t seed = 1; seed <= 3; ++seed) {
      const RunResult result = test::judge_unit(gauge, gauge, behaviour, profile, seed);
      EXPECT_EQ(result.verdict, Verdict::fail) << fault.kind << " seed " << seed << "\n"
                                               << test::told(result);
      EXPECT_FALSE(result.findings.empty()) << fault.kind;
    }
    ++seen[fault.kind];
  }
  for (const FaultSetting& fault : test::pressed_fault_examples()) ++seen[fault.kind];  // below
  for (const FaultSetting& fault : test::fed_fault_examples()) ++seen[fault.kind];
  for (const FaultKind& kind : fault_catalogue())
    EXPECT_GT(seen[kind.kind], 0) << kind.kind << " has no case here";
}

void expect_caught(const char* scenario_file, const std::vector<FaultSetting>& faults) {
  const std::filesystem::path root = TACHPROOF_SOURCE_DIR;
  const Gauge gauge = load_gauge(root / "fixtures/gauges/drumlin-buttons.yaml");
  const ScenarioFile file = load_scenario(root / scenario_file);
  TrialScenario scenario;
  scenario.name = file.name;
  scenario.profile = Profile(file.steps);
  scenario.seed = file.seed;
  RigModel rig;
  rig.behaviour.response_ms = 20;
  const FaultTrials trials(gauge, scenario, rig);
  const RunResult healthy = trials.healthy();
  EXPECT_EQ(healthy.verdict, Verdict::pass) << test::told(healthy);
  for (const FaultSetting& fault : faults) {
    EXPECT_TRUE(test::needs_a_hand(fault.kind)) << fault.kind;
    Behaviour behaviour = rig.behaviour;
    behaviour.faults = {fault};
    const RunResult result = trials.healthy(behaviour);
    EXPECT_EQ(result.verdict, Verdict::fail) << fault.kind << "\n" << test::told(result);
    EXPECT_FALSE(result.findings.empty()) << fault.kind;
  }
}

// Those of buttons and supply, by the scenario that presses and cuts the supply.
TEST(JudgedUnit, EveryFaultOfButtonsAndSupplyIsCaught) {
  expect_caught("scenarios/buttons.yaml", test::pressed_fault_examples());
}

TEST(JudgedUnit, EveryFaultOfTheVoltageIsCaught) {
  expect_caught("scenarios/supply.yaml", test::fed_fault_examples());
}

// Windows that are narrower than the tolerance: on a slow ramp the change at the one is beyond where the next
// is set, and dates nothing; on a fast ramp both come at once, as late as an update may be.
TEST(JudgedUnit, IsNotFailedWhereOnlyItsFastCrossingDatesANarrowWindow) {
  Gauge gauge;
  gauge.name = "narrow";
  gauge.pulses_per_rev = 3;
  gauge.lamps = {{"lamp", {"white", "blue"}}};
  gauge.windows = {
      {"low", 0, {}}, {"sliver", 5441.78, {1, 0}}, {"above", 5442.44, {3, 0}}, {"top", 5800, {2, 0}}};
  gauge.deadband = {0, Sits::below};
  gauge.tolerance.rpm = 1.13;
  gauge.tolerance.response_from = 1 * ns_per_ms;
  gauge.tolerance.response_to = 82 * ns_per_ms;
  Gauge unit = gauge;
  for (std::size_t w = 1; w < unit.windows.size(); ++w) unit.windows[w].from_rpm += 0.98;
  Behaviour behaviour;
  behaviour.response_ms = 48;
  behaviour.resolution_rpm = 0;
  behaviour.timer_hz = 1e9;
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    const RunResult result =
        test::judge_unit(gauge, unit, behaviour, Profile(test::proving_steps(gauge)), seed);
    EXPECT_NE(result.verdict, Verdict::fail) << "seed " << seed << ": " << test::told(result);
  }
}

}  // namespace
}  // namespace tachproof
