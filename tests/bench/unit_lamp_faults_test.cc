// Faults of cues, lamps, wires and supply, by what the lamps do.
#include <gtest/gtest.h>

#include "tests/bench/unit_scene.h"

namespace tachproof::test {
namespace {

Events play_with(const FaultSetting& f, const Signal& signal, std::uint64_t seed = 1) {
  Behaviour behaviour = exact_behaviour();
  behaviour.faults = {f};
  return play(test_gauge(), behaviour, signal, seed);
}

constexpr Channels go = left_white | right_white | top_blue;

// One second in each window from `near` up; the second w shows window w + 1.
Signal tour() { return Signal(3).hold(3500, 1).hold(4500, 1).hold(5200, 1).hold(6000, 1).hold(7500, 1); }
std::vector<Channels> seen_on(const Events& events) {
  return {lit_at(events, 0.9), lit_at(events, 1.9), lit_at(events, 2.9), lit_at(events, 3.9)};
}
using Cues = std::vector<Channels>;

TEST(UnitLampFaults, AreNotThereInAHealthyUnit) {
  EXPECT_EQ(seen_on(play(test_gauge(), exact_behaviour(), tour())),
            (Cues{left_white, there, right_magenta, go}));
}

TEST(UnitLampFaults, ShowAWrongColour) {
  EXPECT_EQ(seen_on(play_with(fault("wrong-colour", {{"lamp", "left"}, {"to", "blue"}}), tour())),
            (Cues{left_blue, there, right_magenta, left_blue | right_white | top_blue}));
  EXPECT_EQ(seen_on(play_with(fault("wrong-colour", {{"lamp", "left"}, {"to", "blue"}, {"window", "near"}}),
                              tour())),
            (Cues{left_blue, there, right_magenta, go}));
  EXPECT_EQ(seen_on(play_with(
                fault("wrong-colour", {{"lamp", "right"}, {"to", "white"}, {"colour", "magenta"}}), tour())),
            (Cues{left_white, there, right_white, go}));
}

TEST(UnitLampFaults, SwapThePlugsOfTwoLamps) {
  EXPECT_EQ(seen_on(play_with(fault("swapped-lamps", {{"lamp", "left"}, {"with", "right"}}), tour())),
            (Cues{right_white, right_magenta | left_white, left_blue, go}));
  // The top lamp has one colour only: what would be its second stays dark.
  EXPECT_EQ(seen_on(play_with(fault("swapped-lamps", {{"lamp", "top"}, {"with", "left"}}), tour())),
            (Cues{top_blue, right_white, right_magenta, top_blue | right_white | left_white}));
}

TEST(UnitLampFaults, StickOn) {
  const Events events = play_with(fault("stuck-on", {{"lamp", "top"}, {"colour", "blue"}}), tour());
  EXPECT_EQ(events.front(), (LampEvent{0, top_blue}));
  EXPECT_EQ(seen_on(events), (Cues{left_white | top_blue, there | top_blue, right_magenta | top_blue, go}));
  EXPECT_EQ(lit_share(events, top_blue, 0, 5), 1);  // where it should blink, too
}

TEST(UnitLampFaults, StickOff) {
  EXPECT_EQ(seen_on(play_with(fault("stuck-off", {{"lamp", "left"}}), tour())),
            (Cues{0, right_white, right_magenta, right_white | top_blue}));
  EXPECT_EQ(seen_on(play_with(fault("stuck-off", {{"lamp", "left"}, {"colour", "white"}}), tour())),
            (Cues{0, there, right_magenta, right_white | top_blue}));
}

TEST(UnitLampFaults, ShowSteadilyWhatShouldBlink) {
  const Signal signal = Signal(3).hold(7500, 3);
  for (const FaultSetting& f : {fault("blink-absent"), fault("blink-absent", {{"window", "beyond"}})})
    EXPECT_EQ(lit_share(play_with(f, signal), top_blue, 1, 3), 1);
  EXPECT_NEAR(lit_share(play_with(fault("blink-absent", {{"window", "go"}}), signal), top_blue, 1, 3), 0.25,
              0.01);
}

TEST(UnitLampFaults, BlinkAtAnotherRate) {
  const Events events = play_with(fault("blink-rate", {}, {{"hz", 6}}), Signal(3).hold(7500, 11));
  EXPECT_EQ(times_on(events, top_blue, 0.9, 10.9), 60);
  EXPECT_NEAR(lit_share(events, top_blue, 0.9, 10.9), 0.25, 1e-3);
}

TEST(UnitLampFaults, BlinkWithAnotherDuty) {
  const Events events = play_with(fault("blink-duty", {}, {{"duty", 0.8}}), Signal(3).hold(7500, 11));
  EXPECT_EQ(times_on(events, top_blue, 0.9, 10.9), 40);
  EXPECT_NEAR(lit_share(events, top_blue, 0.9, 10.9), 0.8, 1e-3);
}

TEST(UnitLampFaults, InterruptALampAtRandom) {
  const FaultSetting f = fault("intermittent-lamp", {{"lamp", "left"}}, {{"per_min", 60}, {"for_ms", 200}});
  const Events events = play_with(f, Signal(3).hold(4500, 1000));
  // A Poisson process that pauses while it is dark: a mean cycle of 1.2 s.
  EXPECT_NEAR(times_on(events, left_blue, 1, 1000), 999 / 1.2, 4 * std::sqrt(999 / 1.2));
  EXPECT_NEAR(lit_share(events, left_blue, 1, 1000), 1 / 1.2, 0.03);
  EXPECT_EQ(lit_share(events, right_white, 1, 1000), 1);
  EXPECT_NE(events, play_with(f, Signal(3).hold(4500, 1000), 2));
}

TEST(UnitLampFaults, InterruptALampFor100MsIfNotSaid) {
  const FaultSetting f = fault("intermittent-lamp", {{"lamp", "left"}}, {{"per_min", 6}});
  const Events events = play_with(f, Signal(3).hold(4500, 100));
  const double gone = first_shows(events, right_white);
  ASSERT_GT(gone, 0);
  EXPECT_NEAR(first_shows(events, there, gone) - gone, 0.1, 1e-8);
}

TEST(UnitLampFaults, FreezeTheLamps) {
  const Signal signal = Signal(3).hold(3500, 1).hold(4500, 1).hold(6000, 1).hold(7500, 1);
  EXPECT_EQ(play_with(fault("freeze", {}, {{"at_s", 1.5}}), signal).back().lit, there);

  const Events thawed = play_with(fault("freeze", {}, {{"at_s", 1.5}, {"for_s", 1.2}}), signal);
  EXPECT_EQ(lit_at(thawed, 2.6), there);
  EXPECT_EQ(first_shows(thawed, go), 2.7);
  EXPECT_GT(times_on(thawed, top_blue, 3, 4), 2);
}

TEST(UnitLampFaults, FreezeInTheMiddleOfABlink) {
  const Signal signal = Signal(3).hold(7500, 4);
  const Events events = play_with(fault("freeze", {}, {{"at_s", 2}}), signal);
  EXPECT_GT(times_on(events, top_blue, 0, 2), 5);
  EXPECT_EQ(times_on(events, top_blue, 2, 4), 0);
}

TEST(UnitLampFaults, ResetOnASupplyDip) {
  const Events events =
      play_with(fault("reset", {}, {{"at_s", 1}, {"boot_ms", 300}}), Signal(3).hold(4500, 2));
  EXPECT_EQ(first_shows(events, 0, 0.5), 1);
  EXPECT_NEAR(first_shows(events, there, 1), 1.3044, 0.0045);
}

TEST(UnitLampFaults, ResetForgetsWhatWasDecidedAndThePeak) {
  Behaviour behaviour = exact_behaviour();
  behaviour.response_ms = 200;
  behaviour.boot_ms = 50;
  behaviour.faults = {fault("reset", {}, {{"at_s", 1.1}})};
  SimulatedUnit unit(test_gauge(), behaviour, test_gauge());
  const Signal signal = Signal(3).hold(3500, 1).hold(6000, 0.05).silence(0.4).hold(3500, 1);
  Events events;
  unit.run(signal.pulses(), signal.until(), events);
  // `go` was decided shortly after 1 s and would have shown at 1.2 s.
  EXPECT_EQ(first_shows(events, go), -1);
  EXPECT_NEAR(unit.peak_rpm(), 3500, 0.1);
}

TEST(UnitLampFaults, ResetIsDarkForHalfASecondIfNothingSaysOtherwise) {
  const Events events = play_with(fault("reset", {}, {{"at_s", 1}}), Signal(3).hold(4500, 2));
  EXPECT_NEAR(first_shows(events, there, 1), 1.5044, 0.0045);
}

}  // namespace
}  // namespace tachproof::test
