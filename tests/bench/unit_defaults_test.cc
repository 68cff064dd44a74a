// A simulated unit of which nothing is said is healthy for its own gauge.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>

#include "tests/bench/unit_scene.h"

namespace tachproof::test {
namespace {

Gauge two_windows(double boundary_rpm, double pulses_per_rev, Tolerance tolerance) {
  Gauge gauge = test_gauge();
  gauge.pulses_per_rev = pulses_per_rev;
  gauge.windows = {{"quiet", 0, {}}, {"on", boundary_rpm, {left_white, 0}}};
  gauge.deadband.rpm = 20;
  gauge.tolerance = tolerance;
  return gauge;
}

Tolerance tolerance(double rpm, Nanos from_ms, Nanos to_ms) {
  Tolerance t;
  t.rpm = rpm;
  t.response_from = from_ms * ns_per_ms;
  t.response_to = to_ms * ns_per_ms;
  return t;
}

TEST(UnitDefaults, AreTheUsualOnesWhereTheGaugeLeavesRoom) {
  EXPECT_EQ(SimulatedUnit(test_gauge(), {}, test_gauge()).describe(),
            "response 20 ms, average of 4 pulses, 100 updates a second, resolution 1 rpm; no faults");
}

TEST(UnitDefaults, AverageFewerPulsesWhereTheyComeSlowly) {
  const Gauge gauge = two_windows(3500, 1, tolerance(3, 0, 120));
  EXPECT_EQ(SimulatedUnit(gauge, {}, gauge).describe(),
            "response 17.7 ms, average of 2 pulses, 100 updates a second, resolution 1 rpm; no faults");
}

TEST(UnitDefaults, RoundFinerForATightTolerance) {
  const Gauge gauge = two_windows(3500, 3, tolerance(1, 0, 120));
  EXPECT_EQ(SimulatedUnit(gauge, {}, gauge).describe(),
            "response 20 ms, average of 4 pulses, 100 updates a second, resolution 0.5 rpm; no faults");
}

TEST(UnitDefaults, MoveTheResponseIntoTheTolerance) {
  const auto responds_in = [](Nanos from_ms, Nanos to_ms) {
    const Gauge gauge = two_windows(3500, 4, tolerance(3, from_ms, to_ms));
    return first_shows(play(gauge, {}, Signal(4).hold(3300, 1).hold(3700, 1)), left_white) - 1;
  };
  EXPECT_GE(responds_in(60, 150), 0.060);
  EXPECT_LE(responds_in(60, 150), 0.150);
  EXPECT_LE(responds_in(0, 40), 0.040);
}

TEST(UnitDefaults, KeepASignalAtTheLowestBoundaryOfWhichAPulseIsMissing) {
  const Gauge gauge = two_windows(3500, 1, tolerance(3, 0, 120));
  Signal signal(1);
  signal.hold(3600, 2);
  std::vector<Nanos> pulses = signal.pulses();
  pulses.erase(pulses.begin() + 60);
  SimulatedUnit unit(gauge, {}, gauge);
  Events events;
  unit.run(pulses, signal.until(), events);
  // The long period is averaged like any other; the lamps come back by
  // themselves as soon as it has left the average of two.
  EXPECT_EQ(lit_at(events, 1.9), left_white);
  EXPECT_LE(times_on(events, left_white, 0, 2), 2);
}

// rpm(t) of a random profile: steps between straight lines, 0 before t = 0.
struct Line {
  double from_s, to_s, from_rpm, to_rpm;
};
double rpm_at(const std::vector<Line>& lines, double s) {
  if (s < 0) return 0;
  for (const Line& l : lines)
    if (s < l.to_s) return l.from_rpm + (l.to_rpm - l.from_rpm) * (s - l.from_s) / (l.to_s - l.from_s);
  return lines.back().to_rpm;
}

// The contract's rule, sampled every half millisecond: what a conforming unit
// may believe lies between the least and the greatest rpm of the tolerated
// responses, widened by the tolerance; so does its window.
void expect_conforming(const Gauge& gauge, const std::vector<Line>& lines, const Events& events) {
  constexpr double step_s = 0.5e-3;
  const double from_s = to_seconds(gauge.tolerance.response_from);
  const double to_s = to_seconds(gauge.tolerance.response_to);
  const auto samples = static_cast<int>((to_s - from_s) / step_s) + 2;
  std::size_t lowest = 0, highest = 0, next = 0;
  Channels lit = 0;
  for (double t = 0; t < lines.back().to_s; t += step_s) {
    double least = 1e9, most = 0;
    // One step more on either side: a sampled rule may only err to the safe side.
    for (int i = -1; i <= samples; ++i) {
      const double rpm = rpm_at(lines, t - from_s - i * step_s);
      least = std::min(least, rpm);
      most = std::max(most, rpm);
    }
    lowest = next_window(gauge, lowest, least - gauge.tolerance.rpm);
    highest = next_window(gauge, highest, most + gauge.tolerance.rpm);
    while (next < events.size() && to_seconds(events[next].at) <= t) lit = events[next++].lit;
    bool allowed = false;
    for (std::size_t w = lowest; w <= highest; ++w)
      allowed |= lit == gauge.windows[w].cue.steady ||
                 lit == (gauge.windows[w].cue.steady | gauge.windows[w].cue.blinking);
    if (!allowed) RC_FAIL("not allowed at " + std::to_string(t) + " s: " + gauge.describe(lit));
  }
}

RC_GTEST_PROP(UnitDefaults, ConformToTheirOwnGauge, ()) {
  Gauge gauge = test_gauge();
  gauge.pulses_per_rev = *rc::gen::element(1.0, 2.0, 3.0, 4.0, 6.0);
  gauge.deadband.sits = *rc::gen::element(Sits::below, Sits::centred, Sits::above);
  gauge.tolerance = tolerance(*rc::gen::inRange(1, 8), *rc::gen::inRange(0, 60), 0);
  // Room for the slowest pulses: one averaged, and the wait for a lost signal.
  const double slowest_ms = 60e3 / (gauge.pulses_per_rev * 2960);
  const Nanos room_ms = static_cast<Nanos>(slowest_ms * 3.2 / 0.7) + 5 + *rc::gen::inRange(0, 150);
  gauge.tolerance.response_to = gauge.tolerance.response_from + room_ms * ns_per_ms;

  Signal signal(gauge.pulses_per_rev);
  std::vector<Line> lines;
  double t = 0, rpm = 0;
  for (int left = *rc::gen::inRange(1, 8); left > 0; --left) {
    const double length = *rc::gen::inRange(1, 700) / 1000.0;
    const double from = *rc::gen::arbitrary<bool>() ? rpm : *rc::gen::inRange(0, 9000);
    rpm = *rc::gen::arbitrary<bool>() ? from : *rc::gen::inRange(0, 9000);
    lines.push_back({t, t + length, from, rpm});
    signal.ramp(from, rpm, length);
    t += length;
  }
  expect_conforming(gauge, lines, play(gauge, {}, signal, *rc::gen::arbitrary<std::uint64_t>()));
}

// On a slow ramp the response hardly matters: the threshold itself must be
// well inside the tolerance.
RC_GTEST_PROP(UnitDefaults, ReadWellInsideTheTolerance, ()) {
  const double pulses_per_rev = *rc::gen::element(0.5, 1.0, 2.0, 3.0, 4.0, 6.0);
  const double boundary = *rc::gen::inRange(2500, 12'000);
  const double rpm = *rc::gen::element(0.5, 1.0, 2.0, 3.0, 5.0);
  const Gauge gauge = two_windows(boundary, pulses_per_rev, tolerance(rpm, 0, 120));
  constexpr double ramp_rate = 4;
  const Signal signal = Signal(pulses_per_rev).ramp(boundary - 12, boundary + 4, 4);
  const double seen = boundary - 12 + ramp_rate * first_shows(play(gauge, {}, signal), left_white);
  RC_ASSERT(seen > boundary - 0.75 * rpm);
  RC_ASSERT(seen < boundary + 0.75 * rpm + ramp_rate * 0.12);
}

}  // namespace
}  // namespace tachproof::test
