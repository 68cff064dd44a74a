// The simulated unit's supply: cut, too low, and back.
#include <gtest/gtest.h>

#include <set>

#include "tests/bench/button_scene.h"

namespace tachproof::test {
namespace {

Behaviour boots_in(double ms) {
  Behaviour behaviour = exact_behaviour();
  behaviour.boot_ms = ms;
  return behaviour;
}

Events with(const Behaviour& behaviour, const Signal& signal, const std::vector<Action>& actions,
            std::uint64_t seed = 1) {
  return handle(button_gauge(), behaviour, signal, actions, seed).events;
}

TEST(UnitPower, IsAwakeWhenTheRunBegins) {
  EXPECT_NEAR(first_shows(with(boots_in(400), Signal(3).hold(4300, 2), {}), there), 0, 0.01);
}

TEST(UnitPower, IsDarkAtOnceThenBootsThenGreetsThenShowsItsWindow) {
  const Events events = with(boots_in(400), Signal(3).hold(4300, 5), {power_off(1, 2)});
  ASSERT_EQ(events.size(), 5u);  // dark and `there` at the start
  EXPECT_EQ(events[2], (LampEvent{1 * ns_per_s, 0}));
  EXPECT_EQ(events[3], (LampEvent{3'400 * ns_per_ms, top_blue}));
  EXPECT_EQ(events[4], (LampEvent{3'700 * ns_per_ms, there}));
}

TEST(UnitPower, BootsForATimeOfItsPowerUpThatDependsOnTheSeed) {
  std::set<double> times;
  for (std::uint64_t seed = 1; seed <= 50; ++seed) {
    const Events events = with(exact_behaviour(), Signal(3).hold(4300, 5), {power_off(1, 1)}, seed);
    times.insert(first_shows(events, top_blue) - 2);
    EXPECT_EQ(events, with(exact_behaviour(), Signal(3).hold(4300, 5), {power_off(1, 1)}, seed));
  }
  EXPECT_EQ(times.size(), 50u);
  EXPECT_GE(*times.begin(), 0.2);
  EXPECT_LT(*times.begin(), 0.25);
  EXPECT_GT(*times.rbegin(), 0.55);
  EXPECT_LE(*times.rbegin(), 0.6);
}

TEST(UnitPower, ShowsTheWindowThatTheRpmHasReachedWhileItGreeted) {
  const Signal signal = Signal(3).hold(4300, 2.2).hold(6000, 2);
  const Events events = with(boots_in(100), signal, {power_off(1, 1)});
  EXPECT_EQ(lit_at(events, 2.39), top_blue);
  EXPECT_DOUBLE_EQ(first_shows(events, left_white | right_white | top_blue), 2.4);
}

TEST(UnitPower, BeginsItsBlinkWithLightAfterTheGreeting) {
  const Events events = with(boots_in(100), Signal(3).hold(7500, 4), {power_off(1, 1)});
  EXPECT_DOUBLE_EQ(first_shows(events, left_blue | top_blue, 2), 2.4);
  EXPECT_NEAR(first_shows(events, left_blue, 2.4) - 2.4, 0.0625, 1e-8);
}

TEST(UnitPower, HasNoGreetingWithoutOne) {
  Gauge gauge = button_gauge();
  gauge.power_up->greets.reset();
  const Events events = handle(gauge, boots_in(100), Signal(3).hold(4300, 4), {power_off(1, 1)}).events;
  EXPECT_DOUBLE_EQ(first_shows(events, top_blue), -1);
  EXPECT_NEAR(first_shows(events, there, 2), 2.1044, 0.0045);
}

TEST(UnitPower, BootsAsItsBehaviourSaysWithoutAPowerUp) {
  for (const double boot_ms : {0.0, 250.0}) {
    const Signal signal = Signal(3).hold(4500, 4);
    const Events events = handle(test_gauge(), boots_in(boot_ms), signal, {power_off(1, 1)}).events;
    EXPECT_DOUBLE_EQ(first_shows(events, 0, 0.9), 1);
    EXPECT_NEAR(first_shows(events, there, 1.1), 2.0044 + boot_ms / 1000, 0.0045);
    EXPECT_NEAR(first_shows(events, there), 0.0044 + boot_ms / 1000, 0.0045);  // and at the start of the run
  }
}

TEST(UnitPower, FailsForASecondTimeWhileItBoots) {
  const Events events = with(boots_in(500), Signal(3).hold(4300, 6), {power_off(1, 1), power_off(2.3, 0.5)});
  EXPECT_DOUBLE_EQ(first_shows(events, top_blue), 3.3);
}

TEST(UnitPower, FailsWhileItGreets) {
  const Events events = with(boots_in(100), Signal(3).hold(4300, 6), {power_off(1, 1), power_off(2.2, 0.5)});
  EXPECT_DOUBLE_EQ(first_shows(events, 0, 2.15), 2.2);
  EXPECT_DOUBLE_EQ(first_shows(events, top_blue, 2.3), 2.8);
  EXPECT_DOUBLE_EQ(first_shows(events, there, 2), 3.1);
}

TEST(UnitPower, KeepsATakeThatIsKeptAndForgetsOthers) {
  const Signal signal = Signal(3).hold(3900, 6);
  Gauge gauge = button_gauge();
  const std::vector<Action> actions{pressed("set", 1), power_off(2, 1)};
  EXPECT_EQ(handle(gauge, boots_in(100), signal, actions).events.back().lit, there);
  gauge.power_up->keeps.clear();
  EXPECT_EQ(handle(gauge, boots_in(100), signal, actions).events.back().lit, left_white);
}

TEST(UnitPower, ForgetsTheLevelUnlessItIsKept) {
  const Signal signal = Signal(3).hold(4300, 6);
  Gauge gauge = button_gauge();
  const std::vector<Action> actions{pressed("glow", 1), power_off(2, 1)};
  EXPECT_EQ(lit_share(handle(gauge, boots_in(100), signal, actions).events, left_blue, 4, 6), 1);
  gauge.power_up->keeps = {"glow"};
  const Events events = handle(gauge, boots_in(100), signal, actions).events;
  EXPECT_NEAR(lit_share(events, left_blue, 4, 6), 0.5, 0.005);
  EXPECT_NEAR(lit_share(events, top_blue, 3.1, 3.4), 0.5, 0.01);  // the greeting too
}

TEST(UnitPower, ForgetsThePeakUnlessItIsKept) {
  const Signal signal = Signal(3).hold(6000, 1).hold(3200, 4);
  Gauge gauge = button_gauge();
  EXPECT_NEAR(handle(gauge, boots_in(100), signal, {power_off(2, 1)}).peak_rpm, 3200, 0.1);
  gauge.power_up->keeps = {"high"};
  EXPECT_NEAR(handle(gauge, boots_in(100), signal, {power_off(2, 1)}).peak_rpm, 6000, 0.1);
}

TEST(UnitPower, HearsNoPressBeforeItIsAwake) {
  // Off until 3, booting until 3.5, greeting until 3.8.
  for (const double at : {2.5, 3.2, 3.7}) {
    const Signal signal = Signal(3).hold(3900, 6);
    std::vector<Action> actions{power_off(2, 1), pressed("set", at)};
    EXPECT_EQ(with(boots_in(500), signal, actions).back().lit, left_white) << at;
  }
  EXPECT_EQ(with(boots_in(500), Signal(3).hold(3900, 6), {power_off(2, 1), pressed("set", 3.9)}).back().lit,
            there);
}

// ---- voltages ---------------------------------------------------------------------

TEST(UnitPower, RidesThroughAShortDip) {
  const Signal signal = Signal(3).hold(4300, 4);
  const Events undisturbed = with(boots_in(100), signal, {});
  EXPECT_EQ(with(boots_in(100), signal, {fed(5, 5, 1, 0.02), fed(12, 12, 1.02, 1)}), undisturbed);
  EXPECT_NE(with(boots_in(100), signal, {fed(5, 5, 1, 0.021), fed(12, 12, 1.021, 1)}), undisturbed);
  Behaviour holds = boots_in(100);
  holds.holds_ms = 21;
  EXPECT_EQ(with(holds, signal, {fed(5, 5, 1, 0.021), fed(12, 12, 1.021, 1)}), undisturbed);
}

TEST(UnitPower, IsOffWhenWhatItHoldsIsUsedUp) {
  const Events events =
      with(boots_in(100), Signal(3).hold(4300, 4), {fed(5, 5, 1, 0.5), fed(12, 12, 1.5, 1)});
  EXPECT_DOUBLE_EQ(first_shows(events, 0, 0.5), 1.02);
  EXPECT_DOUBLE_EQ(first_shows(events, top_blue), 1.6);
  EXPECT_DOUBLE_EQ(first_shows(events, there, 1.5), 1.9);
}

TEST(UnitPower, KeepsAVoltageUntilTheNextOne) {
  // No voltage comes after the dip.
  EXPECT_EQ(with(boots_in(100), Signal(3).hold(4300, 9), {fed(5, 5, 1, 0.5)}).back(),
            (LampEvent{1'020 * ns_per_ms, 0}));
}

TEST(UnitPower, FailsAndComesBackWhereARampPassesItsLowestVoltage) {
  // 12 V to 2 V in 1 s: 6 V after 0.6 s; 2 V to 10 V in 1 s: after 0.5 s.
  const Events events = with(boots_in(100), Signal(3).hold(4300, 6), {fed(12, 2, 1, 1), fed(2, 10, 3, 1)});
  EXPECT_DOUBLE_EQ(first_shows(events, 0, 0.5), 1.62);
  EXPECT_DOUBLE_EQ(first_shows(events, top_blue), 3.6);
}

TEST(UnitPower, NeedsTheVoltageThatItsBehaviourOrItsGaugeSays) {
  const Signal signal = Signal(3).hold(4300, 4);
  const std::vector<Action> at_8_v{fed(8, 8, 1, 1)}, at_5_v{fed(5, 5, 1, 1)};
  Behaviour behaviour = boots_in(100);
  EXPECT_EQ(with(behaviour, signal, at_8_v).back().lit, there);
  behaviour.lowest_v = 8.1;
  EXPECT_EQ(with(behaviour, signal, at_8_v).back().lit, Channels{0});
  // A unit that may be fed 4 V is not off at 5 V.
  Gauge gauge = button_gauge();
  gauge.supply = SupplyRange{4, 16};
  EXPECT_EQ(handle(gauge, boots_in(100), signal, at_5_v).events.back().lit, there);
  EXPECT_EQ(handle(button_gauge(), boots_in(100), signal, at_5_v).events.back().lit, Channels{0});
}

TEST(UnitPower, DoesNotWakeWhileTheVoltageIsTooLow) {
  const Events events =
      with(boots_in(100), Signal(3).hold(4300, 6), {power_off(1, 1), fed(5, 5, 1.5, 1.5), fed(12, 12, 3, 1)});
  EXPECT_DOUBLE_EQ(first_shows(events, 0, 0.5), 1);
  EXPECT_DOUBLE_EQ(first_shows(events, top_blue), 3.1);
}

TEST(UnitPower, RefusesABehaviourThatCannotBe) {
  Behaviour behaviour;
  behaviour.lowest_v = 61;
  EXPECT_EQ(refusal(behaviour), "The simulated unit's lowest_v is 61; it must be 0 to 60.");
  behaviour.lowest_v.reset();
  behaviour.holds_ms = -1;
  EXPECT_EQ(refusal(behaviour), "The simulated unit's holds_ms is -1; it must be 0 to 60000.");
}

TEST(UnitPower, IsResetByAFaultAsByALossOfPower) {
  Behaviour behaviour = boots_in(100);
  behaviour.faults = {fault("reset", {}, {{"at_s", 2}})};
  const Events events = with(behaviour, Signal(3).hold(3900, 6), {pressed("set", 1)});
  EXPECT_DOUBLE_EQ(first_shows(events, 0, 1.5), 2);
  EXPECT_DOUBLE_EQ(first_shows(events, top_blue), 2.1);
  EXPECT_DOUBLE_EQ(first_shows(events, there, 2), 2.4);
}

}  // namespace
}  // namespace tachproof::test
