// Faults that show when a button is pressed or the supply comes back.
#include <gtest/gtest.h>

#include <map>

#include "tests/bench/button_scene.h"
#include "tests/bench/fault_examples.h"

namespace tachproof::test {
namespace {

// Where `there` and `near` end on a slow way down, after these actions within 3 s at `rpm`.
struct Ends {
  double there_rpm, near_rpm;
};
Ends ends_after(const Behaviour& behaviour, double rpm, const std::vector<Action>& actions) {
  const Signal signal = Signal(3).hold(rpm, 3).ramp(rpm, 2000, (rpm - 2000) / 20);
  const Events events = handle(button_gauge(), behaviour, signal, actions).events;
  const auto rpm_of = [&](double s) { return rpm - 20 * (s - 3); };
  return {rpm_of(first_shows(events, left_white, 3)), rpm_of(first_shows(events, 0, 3))};
}

TEST(UnitButtonFaults, IgnoreATake) {
  const Ends ends = ends_after(exact_with(fault("take-ignored")), 4300, {pressed("set", 1)});
  EXPECT_NEAR(ends.there_rpm, 3960, 0.3);
  EXPECT_NEAR(ends.near_rpm, 2960, 0.3);
}

TEST(UnitButtonFaults, TakeAnRpmThatIsNotAllowed) {
  const Ends ends = ends_after(exact_with(fault("take-not-refused")), 4700, {pressed("set", 1)});
  EXPECT_NEAR(ends.there_rpm, 4660, 0.3);
  EXPECT_NEAR(ends.near_rpm, 3660, 0.3);
}

TEST(UnitButtonFaults, TakeAtTheOtherEndOfTheWindow) {
  // `near` is put at 3600, so `there` is 1000 rpm higher.
  const Signal signal = Signal(3).hold(3600, 3).ramp(3600, 4800, 60).ramp(4800, 3400, 70);
  const Events events =
      handle(button_gauge(), exact_with(fault("take-other-end")), signal, {pressed("set", 1)}).events;
  EXPECT_NEAR(3600 + 20 * (first_shows(events, there) - 3), 4600, 0.3);
  EXPECT_NEAR(4800 - 20 * (first_shows(events, 0, 63) - 63), 3560, 0.3);
}

TEST(UnitButtonFaults, TakeTheRpmOfAWhileAgo) {
  const auto there_from = [](std::map<std::string, double> numbers) {
    // Up by 100 rpm/s and pressed at 4300.
    const Signal signal = Signal(3).ramp(3600, 4300, 7).hold(4300, 2).ramp(4300, 3700, 30);
    const Events events = handle(button_gauge(), exact_with(fault("take-late", {}, std::move(numbers))),
                                 signal, {pressed("set", 7)})
                              .events;
    return 4300 - 20 * (first_shows(events, left_white, 9) - 9) + 40;
  };
  EXPECT_NEAR(there_from({}), 4200, 1);
  EXPECT_NEAR(there_from({{"by_ms", 2500}}), 4050, 1);
  EXPECT_NEAR(there_from({{"by_ms", 0}}), 4300, 1);
}

TEST(UnitButtonFaults, LoseATakeWithThePower) {
  Behaviour behaviour = exact_with(fault("take-lost"));
  behaviour.boot_ms = 100;
  const Ends lost = ends_after(behaviour, 4300, {pressed("set", 0.5), power_off(1, 1)});
  EXPECT_NEAR(lost.there_rpm, 3960, 0.3);
  const Ends held = ends_after(behaviour, 4300, {pressed("set", 0.5)});
  EXPECT_NEAR(held.there_rpm, 4260, 0.3);
}

TEST(UnitButtonFaults, FallBackToOtherSettingsWithThePower) {
  Behaviour behaviour = exact_with(fault("settings-reset", {{"anchor", "lane"}}, {{"by_rpm", -150}}));
  behaviour.boot_ms = 100;
  const Ends before = ends_after(behaviour, 4300, {});
  EXPECT_NEAR(before.there_rpm, 3960, 0.3);
  for (const bool twice : {false, true}) {
    std::vector<Action> actions{pressed("set", 0.5), power_off(1, 0.2)};
    if (twice) actions.push_back(power_off(1.8, 0.2));
    const Ends ends = ends_after(behaviour, 4300, actions);
    EXPECT_NEAR(ends.there_rpm, 3810, 0.3);
    EXPECT_NEAR(ends.near_rpm, 2810, 0.3);
  }
}

TEST(UnitButtonFaults, FallBackToOtherSettingsOfAllAnchorsIfNoneIsNamed) {
  Behaviour behaviour = exact_with(fault("settings-reset", {}, {{"by_rpm", -150}}));
  behaviour.boot_ms = 100;
  const Signal signal = Signal(3).hold(4300, 3).ramp(4300, 5000, 35);
  const Events events = handle(button_gauge(), behaviour, signal, {power_off(1, 1)}).events;
  EXPECT_NEAR(4300 + 20 * (first_shows(events, right_magenta, 3) - 3), 4850, 0.3);
}

TEST(UnitButtonFaults, KeepThePeakAfterTheSecondPress) {
  const Signal signal = Signal(3).hold(6000, 1).hold(3200, 5);
  const std::vector<Action> presses{pressed("high", 2), pressed("high", 3)};
  EXPECT_NEAR(handle(button_gauge(), exact_with(fault("peak-not-cleared")), signal, presses).peak_rpm, 6000,
              0.1);
}

TEST(UnitButtonFaults, LeaveOutALevel) {
  const Events events = handle(button_gauge(), exact_with(fault("dim-missing", {}, {{"level", 50}})),
                               Signal(3).hold(4300, 3), {pressed("glow", 1), pressed("glow", 2)})
                            .events;
  EXPECT_NEAR(lit_share(events, left_blue, 1.1, 1.9), 0.2, 0.005);
  EXPECT_EQ(lit_share(events, left_blue, 2.1, 2.9), 1);
}

TEST(UnitButtonFaults, ChangeAColourBelowHalfTheLight) {
  const Events events =
      handle(button_gauge(), exact_with(fault("dim-colour", {{"lamp", "left"}, {"to", "white"}})),
             Signal(3).hold(4300, 3), {pressed("glow", 1), pressed("glow", 2)})
          .events;
  EXPECT_NEAR(lit_share(events, left_blue, 1.1, 1.9), 0.5, 0.005);  // 50 per cent is not below
  EXPECT_EQ(lit_share(events, left_blue, 2.1, 2.9), 0);
  EXPECT_NEAR(lit_share(events, left_white, 2.1, 2.9), 0.2, 0.005);
  EXPECT_NEAR(lit_share(events, right_white, 2.1, 2.9), 0.2, 0.005);
}

TEST(UnitButtonFaults, BootSlowly) {
  Behaviour behaviour = exact_with(fault("slow-boot", {}, {{"by_ms", 800}}));
  behaviour.boot_ms = 100;
  const Events events = handle(button_gauge(), behaviour, Signal(3).hold(4300, 5), {power_off(1, 1)}).events;
  EXPECT_DOUBLE_EQ(first_shows(events, top_blue), 2.9);
  EXPECT_DOUBLE_EQ(first_shows(events, there, 2), 3.2);
}

TEST(UnitButtonFaults, GreetWithAnotherLamp) {
  const auto greeting = [](const FaultSetting& f) {
    Behaviour behaviour = exact_with(f);
    behaviour.boot_ms = 100;
    return lit_at(handle(button_gauge(), behaviour, Signal(3).hold(4300, 4), {power_off(1, 1)}).events, 2.2);
  };
  EXPECT_EQ(greeting(fault("greets-wrong", {{"lamp", "left"}})), left_white);
  EXPECT_EQ(greeting(fault("greets-wrong", {{"lamp", "left"}, {"colour", "blue"}})), left_blue);
  // Lamps whose wires are wrong greet wrongly as well: `top` and `right` have their first colours swapped.
  EXPECT_EQ(greeting(fault("swapped-lamps", {{"lamp", "top"}, {"with", "right"}})), right_white);
  EXPECT_EQ(greeting(fault("stuck-off", {{"lamp", "top"}})), Channels{0});
}

// Each shows in one scene or another, so that there is something to be caught.
TEST(UnitButtonFaults, AllShowInWhatTheUnitDoes) {
  const std::vector<FaultSetting> faults{
      fault("take-ignored"),
      fault("take-not-refused"),
      fault("take-other-end"),
      fault("take-late"),
      fault("take-lost"),
      fault("settings-reset", {}, {{"by_rpm", 40}}),
      fault("peak-not-cleared"),
      fault("dim-missing", {}, {{"level", 20}}),
      fault("dim-colour", {{"lamp", "left"}, {"to", "white"}}),
      fault("slow-boot", {}, {{"by_ms", 1}}),
      fault("greets-wrong", {{"lamp", "right"}}),
      fault("supply-drift", {}, {{"rpm_per_v", 100}}),
      fault("brown-out", {}, {{"at_v", 12}}),
      fault("no-return"),
  };
  const Signal signal = Signal(3)
                            .hold(6000, 1)
                            .ramp(3900, 4300, 4)
                            .hold(4300, 7)
                            .ramp(4300, 2000, 20)
                            .hold(4700, 2)
                            .ramp(4700, 2000, 20);
  const std::vector<Action> actions{
      pressed("set", 5),  pressed("glow", 6), pressed("glow", 7), power_off(9, 1),     pressed("set", 33),
      fed(11, 11, 36, 2), fed(3, 3, 38, 1),   fed(15, 15, 39, 1), pressed("high", 50), pressed("high", 51),
  };
  const Handled sound = handle(button_gauge(), exact_behaviour(), signal, actions);
  std::map<std::string, int> seen;
  for (const FaultSetting& f : faults) {
    EXPECT_FALSE(handle(button_gauge(), exact_with(f), signal, actions) == sound) << f.kind;
    ++seen[f.kind];
  }
  for (const FaultKind& kind : fault_catalogue()) {
    if (!needs_a_hand(kind.kind)) continue;
    EXPECT_EQ(seen[kind.kind], 1) << kind.kind << " has no case here";
  }
}

}  // namespace
}  // namespace tachproof::test
