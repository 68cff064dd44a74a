// What the simulated unit's lamps do once it has decided: delay, blink,
// dimming, boot, and what another gauge's eyes see of it.
#include <gtest/gtest.h>

#include "tests/bench/unit_scene.h"

namespace tachproof::test {
namespace {

TEST(UnitLamps, BeginWithWhatIsLitFromTheStart) {
  Gauge gauge = test_gauge();
  gauge.windows[0].cue.steady = top_blue;
  EXPECT_EQ(play(gauge, exact_behaviour(), Signal(3).silence(1)), (Events{{0, top_blue}}));
}

TEST(UnitLamps, FollowADecisionAfterTheResponse) {
  const Signal signal = Signal(3).hold(3500, 1).hold(4500, 1).hold(3500, 1);
  const Events prompt = play(test_gauge(), exact_behaviour(), signal);
  Behaviour behaviour = exact_behaviour();
  behaviour.response_ms = 35;
  const Events delayed = play(test_gauge(), behaviour, signal);
  ASSERT_EQ(delayed.size(), prompt.size());
  for (std::size_t i = 1; i < prompt.size(); ++i) {
    EXPECT_EQ(delayed[i].at, prompt[i].at + 35 * ns_per_ms);
    EXPECT_EQ(delayed[i].lit, prompt[i].lit);
  }
}

TEST(UnitLamps, BlinkWithTheRateAndDutyOfTheGauge) {
  const Events events = play(test_gauge(), exact_behaviour(), Signal(3).hold(7500, 11));
  EXPECT_EQ(times_on(events, top_blue, 0.5, 10.5), 40);  // 4 Hz
  EXPECT_NEAR(lit_share(events, top_blue, 0.5, 10.5), 0.25, 1e-3);
  EXPECT_EQ(lit_share(events, left_blue, 0.5, 10.5), 1);
}

TEST(UnitLamps, BeginToBlinkWithLightWhenTheWindowIsEntered) {
  for (double before_s : {1.0, 1.07, 1.19}) {
    const Signal signal = Signal(3).hold(6000, before_s).hold(7500, 1);
    const Events events = play(test_gauge(), exact_behaviour(), signal);
    const double entered = first_shows(events, left_blue | top_blue);
    EXPECT_NEAR(entered, before_s, 0.01);
    EXPECT_NEAR(first_shows(events, left_blue, entered) - entered, 0.0625, 1e-8);
  }
}

TEST(UnitLamps, KeepTheBlinkRateForHours) {
  Gauge gauge = test_gauge();
  gauge.blink = Blink{3, 0.5};  // a third of a second is no whole number of ns
  gauge.windows = {{"quiet", 0, {}}, {"on", 10, {0, top_blue}}};
  gauge.deadband.rpm = 0;
  gauge.pulses_per_rev = 1;
  Behaviour behaviour = exact_behaviour();
  behaviour.signal_lost_ms = 10'000;
  const Events events = play(gauge, behaviour, Signal(1).hold(60, 7210));
  const double entered = first_shows(events, top_blue);
  EXPECT_NEAR(first_shows(events, top_blue, entered + 7199.9) - entered, 7200, 1e-8);
}

TEST(UnitLamps, AreDimmedByPulsesOfTheirOwnRate) {
  Behaviour behaviour = exact_behaviour();
  behaviour.dim = 0.3;
  behaviour.dim_hz = 250;
  const Events events = play(test_gauge(), behaviour, Signal(3).hold(4500, 3));
  EXPECT_NEAR(times_on(events, left_blue, 1, 3), 500, 1);
  EXPECT_NEAR(lit_share(events, left_blue, 1, 3), 0.3, 1e-3);
  EXPECT_NEAR(lit_share(events, right_white, 1, 3), 0.3, 1e-3);
  EXPECT_EQ(lit_share(events, top_blue, 1, 3), 0);
}

TEST(UnitLamps, DimWithAClockThatDoesNotWaitForTheWindow) {
  Behaviour behaviour = exact_behaviour();
  behaviour.dim = 0.5;
  behaviour.dim_hz = 100;
  const Signal signal = Signal(3).hold(4500, 1).silence(1.0031).hold(4500, 1);
  const Events events = play(test_gauge(), behaviour, signal);
  // Falling edges of the dimmer keep their phase across the dark second.
  const Channels lit = left_blue | right_white;
  const double before = first_shows(events, lit, 0.5), after = first_shows(events, lit, 2.5);
  EXPECT_NEAR(std::remainder(after - before, 0.01), 0, 1e-8);
}

TEST(UnitLamps, StayDarkWhenDimmedToNothing) {
  Behaviour behaviour = exact_behaviour();
  behaviour.dim = 0;
  EXPECT_EQ(play(test_gauge(), behaviour, Signal(3).hold(4500, 1)), (Events{{0, 0}}));
}

TEST(UnitLamps, AreDarkWhileTheUnitBoots) {
  Gauge gauge = test_gauge();
  gauge.windows[0].cue.steady = top_blue;
  Behaviour behaviour = exact_behaviour();
  behaviour.boot_ms = 700;
  const Events events = play(gauge, behaviour, Signal(3).hold(4500, 2));
  ASSERT_EQ(events.size(), 3u);
  EXPECT_EQ(events[0], (LampEvent{0, 0}));
  EXPECT_EQ(events[1], (LampEvent{700 * ns_per_ms, top_blue}));
  EXPECT_EQ(events[2].lit, left_blue | right_white);
  // Two pulses after the boot, 4.4 ms apart, make the first reading.
  EXPECT_NEAR(to_seconds(events[2].at), 0.7044, 0.0045);
}

TEST(UnitLamps, AreSeenByNameThroughAnotherGauge) {
  Gauge seen = test_gauge();
  seen.lamps = {{"top", {"blue"}}, {"left", {"magenta", "blue"}}};  // no right lamp, no left white
  SimulatedUnit unit(test_gauge(), exact_behaviour(), seen);
  const Signal signal = Signal(3).hold(3500, 1).hold(4500, 1).hold(6000, 1);
  Events events;
  unit.run(signal.pulses(), signal.until(), events);
  EXPECT_EQ(lit_at(events, 0.9), Channels{0});
  EXPECT_EQ(lit_at(events, 1.9), seen.channel("left", "blue"));
  EXPECT_EQ(lit_at(events, 2.9), seen.channel("top", "blue"));
}

}  // namespace
}  // namespace tachproof::test
