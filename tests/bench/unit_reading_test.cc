// How the simulated unit measures: thresholds, averaging, updates, rounding.
#include <gtest/gtest.h>

#include "tests/bench/unit_scene.h"

namespace tachproof::test {
namespace {

// On a slow ramp, the rpm at which a cue first shows.
struct Crossing {
  Channels cue;
  double rpm;
};

constexpr double rate = 20;  // rpm per second
double rpm_on_way_up(const Events& events, Channels cue, double from_rpm) {
  return from_rpm + rate * first_shows(events, cue);
}

TEST(UnitReading, MeetsEveryRisingThresholdOnASlowRamp) {
  const Signal signal = Signal(3).ramp(2900, 5600, 2700 / rate);
  const Events events = play(test_gauge(), exact_behaviour(), signal);
  for (const Crossing& c :
       {Crossing{left_white, 3000}, Crossing{left_blue | right_white, 4000}, Crossing{right_magenta, 5000},
        Crossing{left_white | right_white | top_blue, 5500}})
    // A reading at every pulse, one period late at most: 6.7 ms at 20 rpm/s.
    EXPECT_NEAR(rpm_on_way_up(events, c.cue, 2900), c.rpm, 0.2) << c.rpm;
}

TEST(UnitReading, MeetsEveryFallingThresholdBelowItsDeadband) {
  const Signal signal = Signal(3).ramp(5400, 2900, 2500 / rate);
  const Events events = play(test_gauge(), exact_behaviour(), signal);
  for (const Crossing& c :
       {Crossing{left_blue | right_white, 4960}, Crossing{left_white, 3960}, Crossing{0, 2960}})
    EXPECT_NEAR(5400 - rate * first_shows(events, c.cue, 1), c.rpm, 0.2) << c.rpm;
}

TEST(UnitReading, PutsTheDeadbandWhereItsGaugeSays) {
  for (const auto& [sits, up, down] :
       {std::tuple{Sits::below, 4000.0, 3960.0}, std::tuple{Sits::centred, 4020.0, 3980.0},
        std::tuple{Sits::above, 4040.0, 4000.0}}) {
    Gauge gauge = test_gauge();
    gauge.deadband.sits = sits;
    const Signal signal = Signal(3).ramp(3900, 4100, 10).ramp(4100, 3900, 10);
    const Events events = play(gauge, exact_behaviour(), signal);
    EXPECT_NEAR(3900 + rate * first_shows(events, left_blue | right_white), up, 0.2);
    EXPECT_NEAR(4100 - rate * (first_shows(events, left_white, 10) - 10), down, 0.2);
  }
}

// The mean of N periods is the rpm N/2 periods ago: at 4000 rpm and 3 pulses
// per revolution a period is 5 ms. A faster ramp shows the delay clearly.
TEST(UnitReading, DelaysARampByHalfTheAveragedSpanAndNothingElse) {
  const auto shows_at = [](double pulses, double from, double to) {
    Behaviour behaviour = exact_behaviour();
    behaviour.averaging_pulses = pulses;
    const Signal signal = Signal(3).ramp(from, to, 2);
    return first_shows(play(test_gauge(), behaviour, signal),
                       from < to ? left_blue | right_white : left_white, from < to ? 0 : 0.5);
  };
  for (double pulses : {4.0, 8.0, 16.0}) {
    const double up = shows_at(pulses, 3500, 4500) - 1.0;
    const double down = shows_at(pulses, 4500, 3500) - 1.08;  // 3960 rpm
    // One period of waiting for the pulse that completes the span.
    EXPECT_GE(up, pulses / 2 * 5e-3 - 1e-4) << pulses;
    EXPECT_LE(up, (pulses / 2 + 1) * 5.1e-3) << pulses;
    EXPECT_GE(down, pulses / 2 * 5e-3 - 1e-4) << pulses;
    EXPECT_LE(down, (pulses / 2 + 1) * 5.1e-3) << pulses;
  }
}

TEST(UnitReading, AveragesOverTimeAsOverTheSameNumberOfPulses) {
  Behaviour by_time = exact_behaviour(), by_pulses = exact_behaviour();
  by_time.averaging_pulses.reset();
  by_time.averaging_ms = 42;  // eight periods of 5 to 5.2 ms fit, nine do not
  by_pulses.averaging_pulses = 8;
  const Signal signal = Signal(3).ramp(3850, 4000.5, 3).hold(4000.5, 1);
  const double time = first_shows(play(test_gauge(), by_time, signal), left_blue | right_white);
  EXPECT_GT(time, 0);
  EXPECT_EQ(time, first_shows(play(test_gauge(), by_pulses, signal), left_blue | right_white));
}

TEST(UnitReading, TakesOnePeriodWhereNotEvenOneFitsIntoTheAveragingTime) {
  Behaviour behaviour = exact_behaviour();
  behaviour.averaging_pulses.reset();
  behaviour.averaging_ms = 1;
  const Signal signal = Signal(3).hold(3500, 1).hold(4500, 1);
  EXPECT_NEAR(first_shows(play(test_gauge(), behaviour, signal), left_blue | right_white), 1, 0.01);
}

TEST(UnitReading, HasAReadingAfterTheSecondPulse) {
  Behaviour behaviour = exact_behaviour();
  behaviour.averaging_pulses = 8;
  const Signal signal = Signal(3).silence(0.1).hold(4500, 1);
  const Events events = play(test_gauge(), behaviour, signal);
  ASSERT_EQ(events.size(), 2u);
  EXPECT_EQ(events[0], (LampEvent{0, 0}));
  EXPECT_EQ(events[1], (LampEvent{signal.pulses()[1], left_blue | right_white}));
}

TEST(UnitReading, ConsidersAReadingOnlyAtItsUpdates) {
  Behaviour behaviour = exact_behaviour();
  behaviour.update_hz = 8;
  Signal signal(3);
  for (int i = 0; i < 10; ++i) signal.hold(3500, 0.37).hold(4500, 0.37);
  const Events events = play(test_gauge(), behaviour, signal, 5);
  ASSERT_GT(events.size(), 15u);
  const double phase_s = std::fmod(to_seconds(events[1].at), 0.125);
  for (std::size_t i = 1; i < events.size(); ++i)
    EXPECT_NEAR(std::remainder(to_seconds(events[i].at) - phase_s, 0.125), 0, 1e-8);
}

TEST(UnitReading, HasAnUpdatePhaseOfItsOwnForEachSeed) {
  Behaviour behaviour = exact_behaviour();
  behaviour.update_hz = 8;
  const Signal signal = Signal(3).hold(4500, 1);
  const auto first = [&](std::uint64_t seed) { return play(test_gauge(), behaviour, signal, seed).at(1).at; };
  EXPECT_NE(first(1), first(2));
  EXPECT_EQ(first(1), first(1));
}

TEST(UnitReading, RoundsToTheNearestMultipleOfItsResolution) {
  Behaviour behaviour = exact_behaviour();
  behaviour.resolution_rpm = 100;
  const Signal up = Signal(3).ramp(3850, 4050, 10), down = Signal(3).ramp(4050, 3850, 10);
  EXPECT_NEAR(3850 + rate * first_shows(play(test_gauge(), behaviour, up), left_blue | right_white), 3950,
              0.2);
  // 3960 is not a multiple: the reading is under it from 3950 down.
  EXPECT_NEAR(4050 - rate * first_shows(play(test_gauge(), behaviour, down), left_white, 1), 3950, 0.2);
}

TEST(UnitReading, IsOffByNoMoreThanHalfItsResolution) {
  for (double resolution : {0.1, 0.5, 1.0, 5.0, 7.0}) {
    Behaviour behaviour = exact_behaviour();
    behaviour.resolution_rpm = resolution;
    const Signal signal = Signal(3).ramp(3950, 4050, 5);
    const double rpm =
        3950 + rate * first_shows(play(test_gauge(), behaviour, signal), left_blue | right_white);
    EXPECT_NEAR(rpm, 4000, resolution / 2 + 0.2) << resolution;
  }
}

// 10 kHz: a period of 5 ms is 50 ticks, so that single readings near 4000 rpm
// are 3921.6, 4000 or 4081.6 rpm. Averaging 64 periods brings the error down.
TEST(UnitReading, SeesTheSignalThroughItsTimer) {
  Behaviour coarse = exact_behaviour();
  coarse.timer_hz = 10'000;
  const Signal signal = Signal(3).hold(3985, 20);
  EXPECT_GE(times_on(play(test_gauge(), coarse, signal), left_blue, 0.1, 20), 2);
  coarse.averaging_pulses = 64;
  EXPECT_EQ(times_on(play(test_gauge(), coarse, signal), left_blue, 0.1, 20), 0);
}

TEST(UnitReading, ShowsTheLowestWindowWhenTheSignalIsLost) {
  for (double update_hz : {0.0, 100.0}) {
    Behaviour behaviour = exact_behaviour();
    behaviour.signal_lost_ms = 300;
    behaviour.update_hz = update_hz;
    const Signal signal = Signal(3).hold(4500, 1).silence(1);
    const Events events = play(test_gauge(), behaviour, signal);
    const double last_pulse = to_seconds(signal.pulses().back());
    const double lost = first_shows(events, 0, 0.5) - last_pulse;
    EXPECT_GE(lost, 0.3 - 1e-9);
    EXPECT_LE(lost, 0.3 + (update_hz > 0 ? 1 / update_hz : 0) + 1e-9);
  }
}

TEST(UnitReading, TakesNoPeriodAcrossALostSignal) {
  Behaviour behaviour = exact_behaviour();
  behaviour.averaging_pulses = 4;
  behaviour.signal_lost_ms = 50;
  const Signal signal = Signal(3).hold(4500, 1).silence(0.5).hold(7500, 1);
  for (const LampEvent& e : play(test_gauge(), behaviour, signal)) {
    if (to_seconds(e.at) < 1.1 || to_seconds(e.at) > 1.6) continue;
    EXPECT_TRUE(e.lit == 0 || (e.lit & left_blue)) << "at " << e.at;
  }
}

// 1,000 rpm comes in gaps of 20 ms, each a lost signal of which the update may
// see nothing but the pulse that ends it.
TEST(UnitReading, LosesASignalThatIsAlwaysLate) {
  Behaviour behaviour = exact_behaviour();
  behaviour.signal_lost_ms = 19;
  behaviour.update_hz = 40;
  for (std::uint64_t seed = 0; seed < 20; ++seed) {
    const Events events = play(test_gauge(), behaviour, Signal(3).hold(4500, 1).hold(1000, 1), seed);
    const double lost = first_shows(events, 0, 1);
    EXPECT_GT(lost, 1);
    EXPECT_LT(lost, 1.02 + 0.019 + 0.025);
  }
}

TEST(UnitReading, StaysWithItsReadingThroughAShortGap) {
  Behaviour behaviour = exact_behaviour();
  behaviour.signal_lost_ms = 300;
  const Signal signal = Signal(3).hold(4500, 1).silence(0.25);
  EXPECT_EQ(play(test_gauge(), behaviour, signal).size(), 2u);
}

TEST(UnitReading, RemembersTheHighestRpmThatItBelieved) {
  Behaviour behaviour = exact_behaviour();
  behaviour.resolution_rpm = 10;
  SimulatedUnit unit(test_gauge(), behaviour, test_gauge());
  EXPECT_EQ(unit.peak_rpm(), 0);
  const Signal signal = Signal(3).ramp(3000, 6214, 2).ramp(6214, 3000, 2);
  Events events;
  unit.run(signal.pulses(), signal.until(), events);
  EXPECT_EQ(unit.peak_rpm(), 6210);
}

TEST(UnitReading, RefusesABehaviourThatIsOutOfRange) {
  Behaviour behaviour;
  behaviour.timer_hz = 5;
  EXPECT_EQ(refusal(behaviour), "The simulated unit's timer_hz is 5; it must be 1000 to 1000000000.");
  behaviour = {};
  behaviour.dim = std::nan("");
  EXPECT_EQ(refusal(behaviour), "The simulated unit's dim is nan; it must be 0 to 1.");
  behaviour = {};
  behaviour.averaging_pulses = 4;
  behaviour.averaging_ms = 20;
  EXPECT_EQ(refusal(behaviour),
            "The simulated unit has both averaging_pulses and averaging_ms; it takes one of them.");
}

TEST(UnitReading, SaysInOneLineWhatItIs) {
  Behaviour behaviour = exact_behaviour();
  EXPECT_EQ(SimulatedUnit(test_gauge(), behaviour, test_gauge()).describe(),
            "response 0 ms, no averaging, an update at every pulse, no rounding; no faults");
  behaviour.response_ms = 20;
  behaviour.averaging_pulses = 4;
  behaviour.update_hz = 100;
  behaviour.resolution_rpm = 1;
  behaviour.faults = {fault("boundary-moved", {{"boundary", "there"}}, {{"by_rpm", 5}}),
                      fault("deadband-missing")};
  EXPECT_EQ(SimulatedUnit(test_gauge(), behaviour, test_gauge()).describe(),
            "response 20 ms, average of 4 pulses, 100 updates a second, resolution 1 rpm; "
            "faults: boundary-moved (boundary there, by_rpm 5), deadband-missing");
}

}  // namespace
}  // namespace tachproof::test
