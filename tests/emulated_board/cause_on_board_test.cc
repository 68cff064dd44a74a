// Causes of failed runs on the emulated board: the true one stands first.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "core/cause/diagnosis.h"
#include "tests/bench/judged_unit.h"
#include "tests/bench/unit_scene.h"
#include "tests/emulated_board/bench_with_board.h"
#include "tests/emulated_board/unit_on_pins.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using testing::StartsWith;

class CausesOnBoard : public testing::Test {
 protected:
  CausesOnBoard() {
    gauge.anchors = {{"lane", 4000}, {"shift", 5500}};
    for (const std::size_t w : {1, 2}) gauge.windows[w].anchor = "lane";
    for (const std::size_t w : {3, 4, 5}) gauge.windows[w].anchor = "shift";
    healthy.response_ms = 20;
  }

  // What the bench says of a unit that runs this, with its lamps on these inputs.
  Diagnosis diagnosed(const Gauge& runs, const Behaviour& behaviour, std::vector<ResolvedWire> lamps) {
    BoardSettings settings;
    settings.wires = one_input_each(gauge);
    BenchWithBoard bench(settings,
                         std::make_unique<UnitOnPins>(SimulatedUnit(runs, behaviour, gauge, 1), lamps));
    EvidenceLog evidence;
    RunHooks hooks;
    hooks.evidence = &evidence;
    std::vector<Step> steps = test::proving_steps(gauge);
    const auto pass = static_cast<std::ptrdiff_t>(8 * (gauge.windows.size() - 1));
    steps.erase(steps.begin() + 1 + pass, steps.begin() + 1 + 2 * pass);  // two rates do
    result = run_on(bench.rig(), gauge, Profile(steps), {true, true, true, true}, hooks);
    return diagnose(gauge, {{result, evidence}});
  }
  Diagnosis diagnosed(const FaultSetting& fault) {
    Behaviour behaviour = healthy;
    behaviour.faults = {fault};
    return diagnosed(gauge, behaviour, one_input_each(gauge));
  }

  static const Cause& first(const Diagnosis& diagnosis) {
    static const Cause none;
    return diagnosis.causes.list.empty() ? none : diagnosis.causes.list.front();
  }
  void expect_first(const Diagnosis& diagnosis, const std::string& kind, const std::string& text) {
    ASSERT_EQ(first(diagnosis).changes.size(), 1U) << diagnosis.causes.none << test::told(result);
    EXPECT_EQ(first(diagnosis).changes[0].kind, kind) << first(diagnosis).text;
    EXPECT_THAT(first(diagnosis).text, StartsWith(text));
    EXPECT_TRUE(first(diagnosis).whole());
  }

  Gauge gauge = test::test_gauge();
  Behaviour healthy;
  RunResult result;
};

TEST_F(CausesOnBoard, AnAnchorThatIsElsewhere) {
  Gauge runs = gauge;
  for (Window& window : runs.windows)
    if (window.anchor == "lane") window.from_rpm -= 8;
  const Diagnosis diagnosis = diagnosed(runs, healthy, one_input_each(gauge));
  expect_first(diagnosis, "anchor-moved", "The unit acts as if anchor lane were 3992 rpm (set: 4000");
}

TEST_F(CausesOnBoard, TwoWiresThatAreSwapped) {
  std::vector<ResolvedWire> lamps = one_input_each(gauge);
  std::swap(lamps[1].lights, lamps[2].lights);
  const Diagnosis diagnosis = diagnosed(gauge, healthy, lamps);
  expect_first(diagnosis, "wires-swapped", "The wires of left blue and right white are swapped");
  EXPECT_THAT(first(diagnosis).todo, HasSubstr("left blue and right white"));
}

TEST_F(CausesOnBoard, OtherPulsesPerRevolution) {
  const Diagnosis diagnosis = diagnosed({"wrong-pulses-per-rev", {}, {{"pulses_per_rev", 2}}});
  expect_first(diagnosis, "wrong-pulses-per-rev", "The unit counts 2 (set: 3");
}

TEST_F(CausesOnBoard, ALampThatIsDark) {
  const Diagnosis diagnosis = diagnosed({"stuck-off", {{"lamp", "right"}, {"colour", "magenta"}}, {}});
  expect_first(diagnosis, "lamp-dark", "Right magenta is never lit");
}

TEST_F(CausesOnBoard, NoneOfAHealthyUnit) {
  EXPECT_TRUE(diagnosed(gauge, healthy, one_input_each(gauge)).causes.list.empty());
  EXPECT_EQ(result.verdict, Verdict::pass) << test::told(result);
}

}  // namespace
}  // namespace tachproof
