// Faults of the reading and of the thresholds, by what the lamps do.
#include <gtest/gtest.h>

#include "tests/bench/unit_scene.h"

namespace tachproof::test {
namespace {

Behaviour with(FaultSetting f) {
  Behaviour behaviour = exact_behaviour();
  behaviour.faults = {std::move(f)};
  return behaviour;
}

constexpr double rate = 20;  // rpm per second

// The rpm at which `there` comes on a slow ramp up, and goes on the way down.
struct Thresholds {
  double rising, falling;
};
Thresholds thresholds_of_there(const Behaviour& behaviour) {
  const Signal signal = Signal(3).ramp(3800, 4200, 20).ramp(4200, 3800, 20);
  const Events events = play(test_gauge(), behaviour, signal);
  return {3800 + rate * first_shows(events, there), 4200 - rate * (first_shows(events, left_white, 20) - 20)};
}

TEST(UnitFaults, MoveABoundary) {
  const Thresholds t =
      thresholds_of_there(with(fault("boundary-moved", {{"boundary", "there"}}, {{"by_rpm", 15}})));
  EXPECT_NEAR(t.rising, 4015, 0.2);
  EXPECT_NEAR(t.falling, 3975, 0.2);
}

TEST(UnitFaults, MoveABoundaryAboveTheNextOne) {
  const Behaviour behaviour = with(fault("boundary-moved", {{"boundary", "near"}}, {{"by_rpm", 1500}}));
  const Events events = play(test_gauge(), behaviour, Signal(3).ramp(2900, 6000, 31).ramp(6000, 2900, 31));
  // The step to `near` is not taken before 4500; by then it is `there` already.
  EXPECT_EQ(first_shows(events, left_white), -1);
  EXPECT_NEAR(2900 + 100 * first_shows(events, there), 4500, 1);
}

TEST(UnitFaults, MakeACountInUneven) {
  const Behaviour behaviour = with(fault("count-in-uneven", {{"boundary", "count-in-1"}}, {{"by_rpm", -60}}));
  const Events events = play(test_gauge(), behaviour, Signal(3).ramp(4500, 5300, 40));
  EXPECT_NEAR(4500 + rate * first_shows(events, right_magenta), 4940, 0.2);
}

TEST(UnitFaults, LoseTheDeadband) {
  const Thresholds t = thresholds_of_there(with(fault("deadband-missing")));
  EXPECT_NEAR(t.rising, 4000, 0.2);
  EXPECT_NEAR(t.falling, 4000, 0.2);
}

TEST(UnitFaults, ChangeTheWidthOfTheDeadband) {
  const Thresholds t = thresholds_of_there(with(fault("deadband-width", {}, {{"rpm", 90}})));
  EXPECT_NEAR(t.rising, 4000, 0.2);
  EXPECT_NEAR(t.falling, 3910, 0.2);
}

TEST(UnitFaults, ChangeTheSideOfTheDeadband) {
  const Thresholds t = thresholds_of_there(with(fault("deadband-side", {{"sits", "above"}})));
  EXPECT_NEAR(t.rising, 4040, 0.2);
  EXPECT_NEAR(t.falling, 4000, 0.2);
}

TEST(UnitFaults, AddUpWhateverTheirOrder) {
  const FaultSetting moved = fault("boundary-moved", {{"boundary", "there"}}, {{"by_rpm", 15}});
  const FaultSetting missing = fault("deadband-missing");
  for (const auto& faults : {std::vector{moved, missing}, std::vector{missing, moved}}) {
    Behaviour behaviour = exact_behaviour();
    behaviour.faults = faults;
    EXPECT_NEAR(thresholds_of_there(behaviour).falling, 4015, 0.2);
  }
}

TEST(UnitFaults, NeverShowTheHighestWindow) {
  const Events events =
      play(test_gauge(), with(fault("over-rev-missing")), Signal(3).hold(6000, 1).hold(9000, 1));
  EXPECT_EQ(events.back().lit, left_white | right_white | top_blue);
  EXPECT_EQ(events.size(), 2u);
}

TEST(UnitFaults, CountTheWrongPulsesPerRevolution) {
  // 4 in place of 3: it reads three quarters of the rpm.
  const Behaviour behaviour = with(fault("wrong-pulses-per-rev", {}, {{"pulses_per_rev", 4}}));
  const Events events = play(test_gauge(), behaviour, Signal(3).ramp(5200, 5500, 15));
  EXPECT_NEAR(5200 + rate * first_shows(events, there), 4000 * 4 / 3.0, 0.3);
}

TEST(UnitFaults, SmoothTheReading) {
  // The step response of a first-order low-pass, r0 + (r1 - r0)(1 - exp(-t/tau)),
  // from 3500 to 4500 is half-way after tau ln 2.
  const Behaviour behaviour = with(fault("slow-filter", {}, {{"ms", 300}}));
  const Signal signal = Signal(3).hold(3500, 4).hold(4500, 2);
  EXPECT_NEAR(first_shows(play(test_gauge(), behaviour, signal), there) - 4, 0.3 * std::log(2.0), 0.01);
}

TEST(UnitFaults, FollowSlowly) {
  const Signal signal = Signal(3).hold(3500, 1).hold(4500, 1);
  const double prompt = first_shows(play(test_gauge(), exact_behaviour(), signal), there);
  const Behaviour behaviour = with(fault("slow-response", {}, {{"ms", 250}}));
  EXPECT_NEAR(first_shows(play(test_gauge(), behaviour, signal), there) - prompt, 0.25, 1e-8);
}

TEST(UnitFaults, SkipUpdates) {
  // The wait for the next update that is not skipped is geometric: with a
  // share q it is q / (1 - q) updates longer on average; here 9 of 5 ms.
  Behaviour healthy = exact_behaviour(), faulty = exact_behaviour();
  healthy.update_hz = faulty.update_hz = 200;
  faulty.faults = {fault("dropped-updates", {}, {{"share", 0.9}})};
  Signal signal(3);
  for (int i = 0; i < 400; ++i) signal.hold(3500, 0.5).hold(4500, 0.5);
  const auto mean_wait_s = [&](const Behaviour& behaviour) {
    const Events events = play(test_gauge(), behaviour, signal);
    double sum = 0;
    int count = 0;
    for (const LampEvent& e : events)
      if (e.lit == there) {
        sum += std::fmod(to_seconds(e.at), 0.5);
        ++count;
      }
    return sum / count;
  };
  EXPECT_NEAR(mean_wait_s(faulty) - mean_wait_s(healthy), 0.045, 0.009);
}

TEST(UnitFaults, ReadNothingWhenEveryUpdateIsSkipped) {
  const Behaviour behaviour = with(fault("dropped-updates", {}, {{"share", 1}}));
  EXPECT_EQ(play(test_gauge(), behaviour, Signal(3).hold(4500, 2)).size(), 1u);
}

TEST(UnitFaults, ChatterAtABoundaryWithANoisyReading) {
  const Signal signal = Signal(3).hold(3980, 20);  // in the middle of a deadband of 40
  EXPECT_LE(play(test_gauge(), exact_behaviour(), signal).size(), 2u);
  const Events noisy = play(test_gauge(), with(fault("noisy-reading", {}, {{"rpm", 20}})), signal);
  EXPECT_GT(times_on(noisy, left_blue, 0, 20), 100);
}

TEST(UnitFaults, ReadWithNoiseOfTheGivenDeviation) {
  // No deadband, 10 rpm under the boundary, s = 10: above it in
  // 1 - Phi(1) = 15.87 % of the readings (normal tables).
  Behaviour behaviour = with(fault("noisy-reading", {}, {{"rpm", 10}}));
  behaviour.faults.push_back(fault("deadband-missing"));
  const Events events = play(test_gauge(), behaviour, Signal(3).hold(3990, 100));
  EXPECT_NEAR(lit_share(events, left_blue, 1, 100), 0.1587, 0.008);
}

}  // namespace
}  // namespace tachproof::test
