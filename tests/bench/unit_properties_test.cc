// What holds for every simulated unit and every signal.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <span>

#include "tests/bench/button_scene.h"

namespace tachproof::test {
namespace {

double between(int low, int high) { return *rc::gen::inRange(low, high + 1); }

Signal any_signal(double pulses_per_rev) {
  Signal signal(pulses_per_rev);
  const int lines = *rc::gen::inRange(1, 8);
  for (int i = 0; i < lines; ++i) {
    const double length = between(1, 900) / 1000;
    if (*rc::gen::inRange(0, 5) == 0) {
      signal.silence(length);
    } else {
      signal.ramp(between(500, 9000), between(500, 9000), length);
    }
  }
  return signal;
}

Behaviour any_behaviour() {
  Behaviour b;
  const auto perhaps = [](std::optional<double>& field, std::vector<double> values) {
    if (*rc::gen::arbitrary<bool>()) field = *rc::gen::elementOf(values);
  };
  perhaps(b.response_ms, {0, 20, 333});
  if (*rc::gen::arbitrary<bool>()) {
    perhaps(b.averaging_pulses, {1, 3, 40});
  } else {
    perhaps(b.averaging_ms, {0, 7, 100});
  }
  perhaps(b.update_hz, {0, 3, 100, 997});
  perhaps(b.resolution_rpm, {0, 0.1, 10});
  perhaps(b.timer_hz, {1e4, 3e6});
  perhaps(b.signal_lost_ms, {30, 300});
  perhaps(b.boot_ms, {0, 250});
  perhaps(b.dim, {0, 0.4, 1});
  const std::vector<FaultSetting> faults{
      fault("noisy-reading", {}, {{"rpm", 30}}),
      fault("dropped-updates", {}, {{"share", 0.4}}),
      fault("slow-filter", {}, {{"ms", 60}}),
      fault("intermittent-lamp", {{"lamp", "left"}}, {{"per_min", 200}, {"for_ms", 30}}),
      fault("freeze", {}, {{"at_s", 0.3}, {"for_s", 0.2}}),
      fault("reset", {}, {{"at_s", 0.5}, {"boot_ms", 70}}),
      fault("reset", {}, {{"at_s", 0.9}}),
      fault("boundary-moved", {{"boundary", "there"}}, {{"by_rpm", 1500}}),
      fault("over-rev-missing"),
  };
  for (const FaultSetting& f : faults)
    if (*rc::gen::inRange(0, 4) == 0) b.faults.push_back(f);
  return b;
}

// Presses, cuts and voltages, one after another.
std::vector<Action> any_actions() {
  std::vector<Action> actions;
  double at_s = 0;
  for (int i = *rc::gen::inRange(0, 9); i > 0; --i) {
    at_s += between(0, 600) / 1000;
    switch (*rc::gen::inRange(0, 4)) {
      case 0: actions.push_back(power_off(at_s, between(1, 300) / 1000)); break;
      case 1: actions.push_back(fed(between(4, 9), between(4, 9), at_s, between(1, 100) / 1000)); break;
      default:
        actions.push_back(
            pressed(*rc::gen::elementOf(std::vector<std::string>{"set", "high", "glow"}), at_s));
    }
  }
  return actions;
}

RC_GTEST_PROP(Unit, GivesTheSameEventsHoweverTheTrainIsCut, ()) {
  const Gauge gauge = *rc::gen::arbitrary<bool>() ? button_gauge() : test_gauge();
  const Behaviour behaviour = any_behaviour();
  const Signal signal = any_signal(gauge.pulses_per_rev);
  const auto seed = *rc::gen::arbitrary<std::uint64_t>();
  const std::vector<Action> actions = any_actions();
  const Handled whole = handle(gauge, behaviour, signal, actions, seed);

  SimulatedUnit unit(gauge, behaviour, gauge, seed);
  Events pieces;
  Nanos until = -1;
  std::size_t next = 0;
  while (until < signal.until()) {
    // Cut at a pulse, just before one, or anywhere.
    Nanos cut = until + 1 + *rc::gen::inRange<Nanos>(0, 200 * ns_per_ms);
    const std::vector<Nanos>& pulses = signal.pulses();
    const auto near = std::lower_bound(pulses.begin(), pulses.end(), cut);
    if (near != pulses.end() && *near > until) cut = *near - *rc::gen::inRange(0, 2);
    cut = std::clamp(cut, until + 1, signal.until());
    std::size_t end = next;
    while (end < pulses.size() && pulses[end] <= cut) ++end;
    for (const Action& action : actions)
      if (action.at > until && action.at <= cut) unit.act(action);
    unit.run(std::span(pulses).subspan(next, end - next), cut, pieces);
    RC_ASSERT(pieces.empty() || pieces.back().at <= cut);
    next = end;
    until = cut;
  }
  RC_ASSERT(pieces == whole.events);
  RC_ASSERT(unit.peak_rpm() == whole.peak_rpm);
}

RC_GTEST_PROP(Unit, GivesItsEventsInTimeOrderAndEachIsAChange, ()) {
  const Gauge gauge = button_gauge();
  const Signal signal = any_signal(gauge.pulses_per_rev);
  const auto seed = *rc::gen::arbitrary<std::uint64_t>();
  const Events events = handle(gauge, any_behaviour(), signal, any_actions(), seed).events;
  RC_ASSERT(!events.empty() && events.front().at == 0);
  for (std::size_t i = 1; i < events.size(); ++i) {
    RC_ASSERT(events[i - 1].at < events[i].at);
    RC_ASSERT(events[i - 1].lit != events[i].lit);
  }
  RC_ASSERT(events.back().at <= signal.until());
}

RC_GTEST_PROP(Unit, IsTheSameForTheSameSeed, ()) {
  const Gauge gauge = test_gauge();
  const Behaviour behaviour = any_behaviour();
  const Signal signal = any_signal(gauge.pulses_per_rev);
  const auto seed = *rc::gen::arbitrary<std::uint64_t>();
  RC_ASSERT(play(gauge, behaviour, signal, seed) == play(gauge, behaviour, signal, seed));
}

// Every update that is skipped without a division would have changed nothing:
// vanishing noise takes the way without the short cut.
RC_GTEST_PROP(Unit, TakesNoShortCutThatShows, ()) {
  const Gauge gauge = button_gauge();
  Behaviour quick = any_behaviour();
  quick.faults.clear();
  Behaviour thorough = quick;
  thorough.faults = {fault("noisy-reading", {}, {{"rpm", 1e-300}})};
  const Signal signal = any_signal(gauge.pulses_per_rev);
  const std::vector<Action> actions = any_actions();
  RC_ASSERT(handle(gauge, quick, signal, actions) == handle(gauge, thorough, signal, actions));
}

TEST(Unit, DiffersBySeedWhereChanceIsInIt) {
  Behaviour behaviour;
  behaviour.faults = {fault("noisy-reading", {}, {{"rpm", 60}})};
  const Signal signal = Signal(3).hold(3990, 5);
  EXPECT_NE(play(test_gauge(), behaviour, signal, 1), play(test_gauge(), behaviour, signal, 2));
}

TEST(Unit, RunsForLongOnSmallBlocks) {
  const Signal signal = Signal(3).ramp(3500, 4500, 30).ramp(4500, 3500, 30);
  SimulatedUnit unit(test_gauge(), {}, test_gauge(), 1);
  Events events;
  for (Nanos pulse : signal.pulses()) unit.run({&pulse, 1}, pulse, events);
  unit.run({}, signal.until(), events);
  EXPECT_EQ(events, play(test_gauge(), {}, signal, 1));
}

}  // namespace
}  // namespace tachproof::test
