// What the simulated unit's buttons do, by what its lamps show and by its peak.
#include <gtest/gtest.h>

#include "tests/bench/button_scene.h"

namespace tachproof::test {
namespace {

TEST(UnitButtons, HaveASoundGaugeInTheseTests) { EXPECT_TRUE(problems_of(button_gauge()).empty()); }

// Two seconds at this rpm, with a press of `set` after one, then slowly down.
struct Taken {
  double there_until_rpm, near_until_rpm;
};
Taken taken_at(double rpm, const Behaviour& behaviour) {
  const Signal signal = Signal(3).hold(rpm, 2).ramp(rpm, 2300, (rpm - 2300) / 20);
  const Events events = handle(button_gauge(), behaviour, signal, {pressed("set", 1)}).events;
  const auto rpm_of = [&](double s) { return rpm - 20 * (s - 2); };
  return {rpm_of(first_shows(events, left_white, 2)), rpm_of(first_shows(events, 0, 2))};
}

TEST(UnitButtons, TakeTheRpmForABoundaryAndForAllThatHangsFromItsAnchor) {
  const Taken taken = taken_at(4300, exact_behaviour());
  EXPECT_NEAR(taken.there_until_rpm, 4300 - 40, 0.3);  // the deadband is 40
  EXPECT_NEAR(taken.near_until_rpm, 3300 - 40, 0.3);
}

TEST(UnitButtons, LeaveTheBoundariesOfAnotherAnchor) {
  const Signal signal = Signal(3).hold(4300, 2).ramp(4300, 5300, 50);
  const Events events = handle(button_gauge(), exact_behaviour(), signal, {pressed("set", 1)}).events;
  EXPECT_NEAR(4300 + 20 * (first_shows(events, right_magenta) - 2), 5000, 0.3);
}

TEST(UnitButtons, TakeTheRpmThatTheUnitHasRounded) {
  Behaviour behaviour = exact_behaviour();
  behaviour.resolution_rpm = 100;
  // 4330 is 4300; on the way down 4250 is the last that is still rounded to 4300, and 4260 is the threshold.
  EXPECT_NEAR(taken_at(4330, behaviour).there_until_rpm, 4250, 0.3);
}

TEST(UnitButtons, TakeTheRpmThatTheUnitHasAveraged) {
  Behaviour behaviour = exact_behaviour();
  behaviour.averaging_pulses.reset();
  behaviour.averaging_ms = 1000;
  // 100 rpm/s for 3 s: at 4200 the mean of the last second is 4150.
  const Signal signal = Signal(3).ramp(3900, 4200, 3).hold(4200, 5).ramp(4200, 3900, 60);
  const Events events = handle(button_gauge(), behaviour, signal, {pressed("set", 3)}).events;
  const double down_s = first_shows(events, left_white, 8);
  // The mean of a second on the way down is 2.5 rpm behind.
  EXPECT_NEAR(4200 - 5 * (down_s - 8) + 2.5, 4150 - 40, 1);
}

TEST(UnitButtons, TakeNothingOutsideWhatIsAllowed) {
  for (const double rpm : {3499.0, 4501.0}) {
    const Signal signal = Signal(3).hold(rpm, 2).ramp(rpm, 2300, 60);
    EXPECT_EQ(handle(button_gauge(), exact_behaviour(), signal, {pressed("set", 1)}),
              handle(button_gauge(), exact_behaviour(), signal, {}));
  }
  EXPECT_NEAR(taken_at(4499, exact_behaviour()).there_until_rpm, 4459, 0.3);
  EXPECT_NEAR(taken_at(3501, exact_behaviour()).there_until_rpm, 3461, 0.3);
}

TEST(UnitButtons, TakeNothingWithoutASignal) {
  const Signal signal = Signal(3).hold(4300, 1).silence(2).hold(4300, 1).ramp(4300, 3800, 25);
  EXPECT_EQ(handle(button_gauge(), exact_behaviour(), signal, {pressed("set", 2.5)}),
            handle(button_gauge(), exact_behaviour(), signal, {}));
}

TEST(UnitButtons, MoveTheLampsAtTheNextUpdateAndAfterTheResponse) {
  Behaviour behaviour = exact_behaviour();
  behaviour.response_ms = 35;
  // `near` at 3900 until that becomes the boundary of `there`; a pulse comes every 5.13 ms.
  const Events events =
      handle(button_gauge(), behaviour, Signal(3).hold(3900, 2), {pressed("set", 1)}).events;
  const double after_s = first_shows(events, there) - 1;
  EXPECT_GE(after_s, 0.035);
  EXPECT_LE(after_s, 0.035 + 0.0052);
}

TEST(UnitButtons, TakeTheLastRpmThatWasTaken) {
  const Signal signal = Signal(3).hold(4300, 1).hold(4100, 1).ramp(4100, 3900, 10);
  const Events events =
      handle(button_gauge(), exact_behaviour(), signal, {pressed("set", 0.5), pressed("set", 1.5)}).events;
  EXPECT_NEAR(4100 - 20 * (first_shows(events, left_white, 1.6) - 2), 4060, 0.3);
}

TEST(UnitButtons, DoNothingThatHasNoName) {
  const Signal signal = Signal(3).hold(4300, 2).ramp(4300, 3800, 25);
  EXPECT_EQ(handle(button_gauge(), exact_behaviour(), signal, {pressed("capture", 1)}),
            handle(button_gauge(), exact_behaviour(), signal, {}));
}

// 6000 rpm, then 3200 for good, with these presses of `high`.
double peak_after(const std::vector<double>& presses_s, const Behaviour& behaviour = exact_behaviour()) {
  std::vector<Action> actions;
  for (const double s : presses_s) actions.push_back(pressed("high", s));
  return handle(button_gauge(), behaviour, Signal(3).hold(6000, 1).hold(3200, 20), actions).peak_rpm;
}

TEST(UnitButtons, ShowThePeakOnceAndClearItWhenPressedAgainInTime) {
  EXPECT_NEAR(peak_after({2}), 6000, 0.1);
  EXPECT_NEAR(peak_after({2, 5.9}), 3200, 0.1);
  EXPECT_NEAR(peak_after({2, 6.1}), 6000, 0.1);      // it shows again
  EXPECT_NEAR(peak_after({2, 6.1, 10}), 3200, 0.1);  // and is cleared
  EXPECT_NEAR(peak_after({2, 2.5, 3.5}), 3200, 0.1);
}

// A take can put the lowest boundary so low that the unit must not take the pulses there for a lost signal.
TEST(UnitButtons, APeakThatIsClearedFarBelowTheSettingsIsTheRpmThere) {
  Gauge gauge = button_gauge();
  gauge.buttons[0].does = TakeRpm{2, 1600, 4500};
  Behaviour behaviour;
  behaviour.averaging_ms = 10;
  const std::vector<Action> actions{pressed("set", 2), pressed("high", 4), pressed("high", 5)};
  const Signal signal = Signal(3).hold(1620, 3).hold(330, 4);
  EXPECT_NEAR(handle(gauge, behaviour, signal, actions).peak_rpm, 330, 5);
}

TEST(UnitButtons, EndTheShowingWithTheClearing) {
  // The third press shows what came after the second, the fourth would clear it.
  const Signal signal = Signal(3).hold(6000, 1).hold(3200, 1).hold(5200, 0.5).hold(3200, 5);
  const std::vector<Action> three{pressed("high", 1.2), pressed("high", 1.4), pressed("high", 3)};
  EXPECT_NEAR(handle(button_gauge(), exact_behaviour(), signal, three).peak_rpm, 5200, 0.1);
}

TEST(UnitButtons, DimToTheNextLevelAndAfterTheLastToTheFirst) {
  const std::vector<Action> presses{pressed("glow", 1), pressed("glow", 2), pressed("glow", 3)};
  for (const double dim : {1.0, 0.6}) {
    Behaviour behaviour = exact_behaviour();
    behaviour.dim = dim;
    const Events events = handle(button_gauge(), behaviour, Signal(3).hold(4300, 4), presses).events;
    EXPECT_NEAR(lit_share(events, left_blue, 0.1, 0.9), dim * 1.0, 0.005);
    EXPECT_NEAR(lit_share(events, left_blue, 1.1, 1.9), dim * 0.5, 0.005);
    EXPECT_NEAR(lit_share(events, left_blue, 2.1, 2.9), dim * 0.2, 0.005);
    EXPECT_NEAR(lit_share(events, left_blue, 3.1, 3.9), dim * 1.0, 0.005);
  }
}

TEST(UnitButtons, StartWithTheFirstLevel) {
  Gauge gauge = button_gauge();
  gauge.buttons[2].does = Dim{{0.4, 1}};
  const Events events =
      handle(gauge, exact_behaviour(), Signal(3).hold(4300, 2), {pressed("glow", 1)}).events;
  EXPECT_NEAR(lit_share(events, left_blue, 0.1, 0.9), 0.4, 0.005);
  EXPECT_EQ(lit_share(events, left_blue, 1.1, 1.9), 1);
}

TEST(UnitButtons, DimWhatBlinksToo) {
  const Events events =
      handle(button_gauge(), exact_behaviour(), Signal(3).hold(7500, 12), {pressed("glow", 0.5)}).events;
  EXPECT_NEAR(lit_share(events, top_blue, 1, 11), 0.25 * 0.5, 0.005);
  EXPECT_NEAR(lit_share(events, left_blue, 1, 11), 0.5, 0.005);
}

}  // namespace
}  // namespace tachproof::test
