#include "bench/rigs/simulated/simulated_rig.h"

#include <gtest/gtest.h>

#include "tests/bench/button_scene.h"

namespace tachproof::test {
namespace {

Rig exact_rig() { return simulated_rig(test_gauge(), exact_behaviour(), test_gauge(), 1); }

// Plays a signal in blocks of 50 ms, as a runner does.
Events run(Rig& rig, const Signal& signal) {
  rig.source->begin();
  rig.watcher->begin();
  Events events;
  const std::vector<Nanos>& pulses = signal.pulses();
  std::size_t next = 0;
  for (Nanos until = 0; until < signal.until();) {
    until = std::min(until + 50 * ns_per_ms, signal.until());
    const std::size_t from = next;
    while (next < pulses.size() && pulses[next] <= until) ++next;
    rig.source->play({std::span(pulses).subspan(from, next - from), until});
    const Seen seen = rig.watcher->collect(until, events);
    EXPECT_EQ(seen.until, until);
    EXPECT_EQ(seen.lost, 0u);
  }
  rig.source->end();
  rig.watcher->end();
  return events;
}

TEST(SimulatedRig, CarriesPulsesToTheUnitAndLampsBack) {
  const Signal signal = Signal(3).hold(3500, 1).hold(4500, 1).hold(7500, 1);
  Rig rig = exact_rig();
  EXPECT_EQ(run(rig, signal), play(test_gauge(), exact_behaviour(), signal));
}

TEST(SimulatedRig, StartsAFreshUnitForEachRun) {
  const Signal signal = Signal(3).hold(3500, 1).hold(4500, 1);
  Rig rig = exact_rig();
  const Events first = run(rig, signal);
  EXPECT_EQ(run(rig, signal), first);
}

TEST(SimulatedRig, SeesNoFurtherThanTheSourceHasPlayed) {
  Rig rig = exact_rig();
  rig.source->begin();
  rig.watcher->begin();
  Events events;
  EXPECT_EQ(rig.watcher->collect(ns_per_s, events).until, 0);
  rig.source->play({{}, 300 * ns_per_ms});
  EXPECT_EQ(rig.watcher->collect(ns_per_s, events).until, 300 * ns_per_ms);
  rig.source->end();
  EXPECT_EQ(rig.watcher->collect(ns_per_s, events).until, ns_per_s);
}

TEST(SimulatedRig, KeepsPulsesThatAreNotYetAskedFor) {
  const Signal signal = Signal(3).hold(4500, 2);
  Rig rig = exact_rig();
  rig.source->begin();
  rig.watcher->begin();
  rig.source->play({signal.pulses(), signal.until()});
  Events events;
  for (Nanos t = 0; t <= signal.until(); t += ns_per_ms) rig.watcher->collect(t, events);
  EXPECT_EQ(events, play(test_gauge(), exact_behaviour(), signal));
}

TEST(SimulatedRig, AnswersForThePeakAndInventsNothing) {
  Rig rig = exact_rig();
  Behaviour whole_rpm = exact_behaviour();
  whole_rpm.resolution_rpm = 1;
  rig = simulated_rig(test_gauge(), whole_rpm, test_gauge());
  run(rig, Signal(3).hold(6123, 1).hold(3000, 1));
  Ask ask;
  ask.question = "Peak shown on the dial, rpm?";
  ask.wants = Ask::Wants::peak;
  EXPECT_EQ(rig.watcher->answer(ask), "6123");
  ask.wants = Ask::Wants::text;
  ask.text = "yes";
  EXPECT_EQ(rig.watcher->answer(ask), std::nullopt);
  ask.wants = Ask::Wants::number;
  EXPECT_EQ(rig.watcher->answer(ask), std::nullopt);
}

TEST(SimulatedRig, TakesAnyActionOnTheUnit) {
  Rig rig = exact_rig();
  EXPECT_TRUE(rig.source->can_press("capture"));
  EXPECT_NO_THROW(rig.source->press({"anything else", ns_per_ms}, 0));
}

TEST(SimulatedRig, HandsPressesAndTheSupplyToTheUnit) {
  const Signal signal = Signal(3).hold(3900, 6);
  const Gauge gauge = button_gauge();
  Rig rig = simulated_rig(gauge, exact_behaviour(), gauge, 1);
  ASSERT_TRUE(rig.source->can_power());
  ASSERT_TRUE(rig.source->can_supply());
  rig.source->begin();
  rig.watcher->begin();
  Events events;
  rig.source->press({"set", 100 * ns_per_ms}, ns_per_s);
  rig.source->power_off(ns_per_s, 2 * ns_per_s);
  rig.source->supply({5, 5, ns_per_s}, 4 * ns_per_s);
  rig.source->supply({12, 12, ns_per_s}, 5 * ns_per_s);
  rig.source->play({signal.pulses(), signal.until()});
  rig.watcher->collect(signal.until(), events);
  const std::vector<Action> actions{pressed("set", 1), power_off(2, 1), fed(5, 5, 4, 1), fed(12, 12, 5, 1)};
  EXPECT_EQ(events, handle(gauge, exact_behaviour(), signal, actions).events);
}

TEST(SimulatedRig, SaysWhatItIs) {
  const Rig rig = exact_rig();
  EXPECT_EQ(rig.source->facts().kind, "simulated");
  EXPECT_TRUE(rig.source->facts().virtual_time);
  EXPECT_EQ(rig.watcher->facts().kind, "simulated");
  EXPECT_EQ(rig.watcher->facts().description,
            "response 0 ms, no averaging, an update at every pulse, no rounding; no faults");
  EXPECT_EQ(rig.watcher->facts().wired, test_gauge().all_channels());
}

TEST(SimulatedRig, RefusesAFaultThatCannotBe) {
  Behaviour behaviour;
  behaviour.faults = {fault("stuck-off", {{"lamp", "bottom"}})};
  EXPECT_THROW(simulated_rig(test_gauge(), behaviour, test_gauge()), std::invalid_argument);
}

}  // namespace
}  // namespace tachproof::test
