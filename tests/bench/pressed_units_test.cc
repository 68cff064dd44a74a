// Random gauges with buttons, and the simulated units of them, through the doors of a run: a healthy unit
// never fails, and one whose buttons or supply do wrong never passes. TACHPROOF_UNITS sets how many of each.
#include <gmock/gmock.h>

#include <cstdio>
#include <cstdlib>
#include <map>
#include <random>
#include <string>
#include <vector>

#include "bench/run/fault_trials.h"
#include "bench/run/rig_model.h"
#include "core/cause/fault_list.h"
#include "core/plan/button_proof.h"
#include "tests/bench/drawn_units.h"

namespace tachproof {
namespace {

using test::Drawn, test::pass, test::run_drawn, test::told_of, test::units;

// Takes, is refused, dims, loses its supply; after each the boundaries that hang from the anchor are crossed.
Profile drive(const Gauge& g, Drawn& drawn) {
  const std::size_t taken = std::get<TakeRpm>(g.buttons[0].does).boundary;
  std::vector<Step> steps{Hold{2000, ns_per_s}};
  const auto press = [&](double rpm, const char* button) {
    steps.insert(steps.end(), {RampByTime{rpm, 1500 * ns_per_ms}, Hold{rpm, ns_per_s},
                               Press{button, 200 * ns_per_ms}, Hold{rpm, 900 * ns_per_ms}});
  };
  const auto settle = [&](const Gauge& now) {
    steps.push_back(RampByTime{now.windows[1].from_rpm - 80, ns_per_s});
    steps.push_back(Hold{now.windows[1].from_rpm - 80, 600 * ns_per_ms});
  };
  settle(g);
  pass(steps, g);
  const double rpm = drawn.whole(2900, 5200);
  press(rpm, "mark");
  const Gauge now = with_boundary_at(g, taken, rpm);
  settle(now);
  pass(steps, now);
  press(drawn.whole(5800, 6400), "mark");
  settle(now);
  pass(steps, now);
  const double lit = (now.windows[2].from_rpm + now.windows[3].from_rpm) / 2;
  for (int i = 0; i < 3; ++i) press(lit, "lux");
  // Where the unit lights a lamp whatever it keeps.
  const double awake = std::max(now.windows.back().from_rpm, g.windows.back().from_rpm) + 50;
  steps.insert(steps.end(), {RampByTime{awake, ns_per_s}, Hold{awake, ns_per_s}, PowerOff{2 * ns_per_s},
                             Hold{awake, 5 * ns_per_s}});
  const Gauge after = keeps(*g.power_up, "mark") ? now : g;
  settle(after);
  pass(steps, after);
  // The highest rpm, cleared within three seconds and asked for again.
  const double low = after.windows[1].from_rpm - 80;
  Ask ask;
  ask.wants = Ask::Wants::peak;
  ask.within = 10;
  ask.question = "Highest rpm shown?";
  steps.push_back(ask);
  for (int i = 0; i < 2; ++i) steps.insert(steps.end(), {Press{"top", 200 * ns_per_ms}, Hold{low, ns_per_s}});
  steps.push_back(ask);
  return Profile(steps);
}

TEST(PressedUnits, AHealthyOneNeverFails) {
  std::size_t passed = 0;
  for (std::uint64_t seed = 1; seed <= units(); ++seed) {
    Drawn drawn(seed);
    const Gauge gauge = drawn.gauge();
    ASSERT_TRUE(problems_of(gauge).empty()) << problems_of(gauge)[0].path;
    const Behaviour behaviour = drawn.behaviour(gauge);
    const RunResult result = run_drawn(gauge, behaviour, drive(gauge, drawn), seed);
    EXPECT_NE(result.verdict, Verdict::fail) << "seed " << seed << "\n" << told_of(result);
    passed += result.verdict == Verdict::pass;
    if (std::getenv("TACHPROOF_TELL") != nullptr && result.verdict != Verdict::pass)
      std::printf("seed %llu\n%s", static_cast<unsigned long long>(seed), told_of(result).c_str());
    for (const PressResult& press : result.presses)
      if (press.refused == false && !std::isnan(press.taken_rpm)) {
        EXPECT_NEAR(press.taken_rpm, press.rpm, press.expanded_uncertainty_rpm + 1.5) << "seed " << seed;
      }
  }
  RecordProperty("passed", static_cast<int>(passed));
  EXPECT_GE(passed * 10, units() * 9);
}

// One of each of the eleven kinds that this gauge has room for, of a size that is drawn.
std::vector<FaultSetting> faults_of(const Gauge& gauge, std::uint64_t seed) {
  Drawn drawn(seed + 1'000'000);
  const std::vector<double>& levels = std::get<Dim>(gauge.buttons[2].does).levels;
  const double least = 3 * gauge.tolerance.rpm;
  std::vector<FaultSetting> all{
      {"take-ignored", {}, {}},
      {"take-not-refused", {}, {}},
      {"take-other-end", {}, {}},
      {"take-late", {}, {{"by_ms", drawn.whole(1300, 3000)}}},
      {"settings-reset", {}, {{"by_rpm", (drawn.chance(0.5) ? 1 : -1) * drawn.between(least, 60)}}},
      {"peak-not-cleared", {}, {}},
      {"dim-missing", {}, {{"level", 100 * levels[static_cast<std::size_t>(drawn.whole(0, 2))]}}},
      {"dim-colour", {{"lamp", "left"}, {"to", "white"}}, {}},
      {"slow-boot", {}, {{"by_ms", drawn.between(1000, 4000)}}}};
  // Nothing that must be kept can be lost.
  if (keeps(*gauge.power_up, "mark")) all.push_back({"take-lost", {}, {}});
  if (gauge.power_up->greets) all.push_back({"greets-wrong", {{"lamp", "right"}}, {}});
  return all;
}

TEST(PressedUnits, OneWhoseButtonsOrSupplyDoWrongNeverPasses) {
  struct Counted {
    int failed = 0, undecided = 0, passed = 0;
  };
  std::map<std::string, Counted> counts;
  for (std::uint64_t seed = 1; seed <= units(); ++seed)
    for (const FaultSetting& fault : faults_of(Drawn(seed).gauge(), seed)) {
      Drawn drawn(seed);
      const Gauge gauge = drawn.gauge();
      Behaviour behaviour = drawn.behaviour(gauge);
      behaviour.faults = {fault};
      const RunResult result = run_drawn(gauge, behaviour, drive(gauge, drawn), seed);
      EXPECT_NE(result.verdict, Verdict::pass) << "seed " << seed << " " << fault.kind;
      // Near where the boundary was, a take and no take look the same.
      Counted& count = counts[fault.kind];
      ++(result.verdict == Verdict::fail        ? count.failed
         : result.verdict == Verdict::undecided ? count.undecided
                                                : count.passed);
    }
  EXPECT_EQ(counts.size(), 11U);
  if (std::getenv("TACHPROOF_TELL") == nullptr) return;
  for (const auto& [kind, count] : counts)
    std::printf("| %s | %d | %d | %d |\n", kind.c_str(), count.failed, count.undecided, count.passed);
}

// The profile that a plan adds for buttons, from the gauge alone.
TEST(PressedUnits, AProofOfTheirButtonsCatchesEveryFaultOfThem) {
  for (std::uint64_t seed = 1; seed <= std::max<std::size_t>(units() / 4, 1); ++seed) {
    Drawn drawn(seed);
    const Gauge gauge = drawn.gauge();
    std::vector<Step> steps{Hold{2000, ns_per_s}};
    for (const Step& step : steps_of(proof_parts(gauge, proof_shape(gauge, 0.3)))) steps.push_back(step);
    for (const Step& step : steps_of(button_parts(gauge, proof_shape(gauge, 0.3)))) steps.push_back(step);
    TrialScenario scenario;
    scenario.name = "buttons";
    scenario.profile = Profile(steps);
    scenario.seed = seed;
    RigModel rig;
    rig.behaviour = drawn.behaviour(gauge);
    const FaultTrials trials(gauge, scenario, rig);
    EXPECT_EQ(trials.healthy(rig.behaviour).verdict, Verdict::pass) << told_of(trials.healthy(rig.behaviour));
    for (const ListedFault& listed : fault_list(gauge).faults)
      if (is_of_buttons(listed.fault.kind)) {
        EXPECT_EQ(trials.with(listed.fault).verdict, Verdict::fail)
            << "seed " << seed << ": " << describe(listed.fault, gauge);
      }
  }
}

}  // namespace
}  // namespace tachproof
