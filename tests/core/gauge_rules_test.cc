#include <gmock/gmock.h>

#include <limits>

#include "core/gauge/gauge.h"

namespace tachproof {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double infinity = std::numeric_limits<double>::infinity();

// Two lamps, four windows: dark, steady, blinking, dark.
Gauge sound_gauge() {
  Gauge g;
  g.name = "Moraine pair";
  g.pulses_per_rev = 2;
  g.anchors = {{"pit", 3000}};
  g.lamps = {{"near", {"white", "violet"}}, {"far", {"cyan"}}};
  g.windows = {
      {"low", 0, {}}, {"held", 3000, {0b001, 0}}, {"past", 3100, {0b010, 0b100}}, {"open", 4000, {}}};
  g.deadband = {10, Sits::centred};
  g.blink = Blink{3, 0.5};
  g.tolerance = {.rpm = 4, .response_from = 0, .response_to = 100 * ns_per_ms};
  return g;
}

// The sound gauge after a change, as "path: found; allowed" on each line.
template <typename Change>
std::string broken_by(Change change) {
  Gauge g = sound_gauge();
  change(g);
  std::string all;
  for (const Problem& p : problems_of(g)) all += p.path + ": " + p.found + "; " + p.allowed + "\n";
  return all;
}

TEST(GaugeRules, HoldForASoundGauge) {
  EXPECT_EQ(broken_by([](Gauge&) {}), "");
}

TEST(GaugeRules, WantAName) {
  EXPECT_EQ(broken_by([](Gauge& g) { g.name = ""; }), "name: an empty name; a text\n");
}

TEST(GaugeRules, LimitPulsesPerTurn) {
  const std::string allowed = "; above 0, at most 60\n";
  EXPECT_EQ(broken_by([](Gauge& g) { g.pulses_per_rev = 0; }), "pulses_per_rev: 0" + allowed);
  EXPECT_EQ(broken_by([](Gauge& g) { g.pulses_per_rev = 60.01; }), "pulses_per_rev: 60.01" + allowed);
  EXPECT_EQ(broken_by([](Gauge& g) { g.pulses_per_rev = nan; }), "pulses_per_rev: nan" + allowed);
  EXPECT_EQ(broken_by([](Gauge& g) { g.pulses_per_rev = 60; }), "");
}

TEST(GaugeRules, WantAnchorsWithNamesInRange) {
  EXPECT_EQ(
      broken_by([](Gauge& g) {
        g.anchors = {{"a b", 1}, {"c", 20001}, {"d", 1}, {"d", 2}};
      }),
      "anchors.a b: 'a b'; a name of letters, digits, '_', '.' and '-', without blanks, at most 64 bytes\n"
      "anchors.c: 20001 rpm; from 0 to 20000 rpm\n"
      "anchors.d: 'd' again; a name that no other anchor has\n");
}

TEST(GaugeRules, WantLampsWithColours) {
  EXPECT_EQ(broken_by([](Gauge& g) {
              g.lamps.clear();
              for (Window& w : g.windows) w.cue = {};
            }),
            "lamps: no lamps; at least one lamp\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.lamps[1].id = "near"; }),
            "lamps[1].id: 'near' again; a name that no other lamp has\n");
  EXPECT_EQ(broken_by([](Gauge& g) {
              g.lamps.push_back({"third", {}});
            }),
            "lamps[2].colours: no colours; at least one colour\n");
  EXPECT_EQ(broken_by([](Gauge& g) {
              g.lamps.push_back({"third", {"red", "red"}});
            }),
            "lamps[2].colours[1]: 'red' again; a name that no other colour of this lamp has\n");
}

TEST(GaugeRules, HaveRoomFor64PairsOfLampAndColour) {
  const auto with = [](int colours) {
    return broken_by([&](Gauge& g) {
      Lamp lamp{"many", {}};
      for (int i = 0; i < colours; ++i) lamp.colours.push_back("c" + std::to_string(i));
      g.lamps.push_back(lamp);
    });
  };
  EXPECT_EQ(with(61), "");
  EXPECT_EQ(with(62), "lamps: 65 pairs of lamp and colour; at most 64\n");
}

TEST(GaugeRules, WantWindowsInOrderFromZero) {
  EXPECT_EQ(broken_by([](Gauge& g) { g.windows.clear(); }), "windows: no windows; at least one window\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.windows[0].from_rpm = 5; }),
            "windows[0].from: 5 rpm; 0, because this is the lowest window\n");
  EXPECT_EQ(
      broken_by([](Gauge& g) { g.windows[2].from_rpm = 3000; }),
      "windows[2].from: window 'past' from 3000 rpm; above 3000 rpm, where window 'held' before it begins\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.windows[3].from_rpm = 20000.5; }),
            "windows[3].from: 20000.5 rpm; from 0 to 20000 rpm\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.windows[3].from_rpm = infinity; }),
            "windows[3].from: inf rpm; from 0 to 20000 rpm\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.windows[3].name = "low"; }),
            "windows[3].name: 'low' again; a name that no other window has\n");
}

TEST(GaugeRules, WantNotANumberNowhere) {
  EXPECT_EQ(broken_by([](Gauge& g) { g.windows[0].from_rpm = nan; }),
            "windows[0].from: nan rpm; 0, because this is the lowest window\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.windows[3].from_rpm = nan; }),
            "windows[3].from: nan rpm; from 0 to 20000 rpm\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.deadband.rpm = nan; }),
            "deadband.rpm: nan rpm; from 0 to 20000 rpm\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.tolerance.rpm = nan; }),
            "tolerance.rpm: nan rpm; from 0 to 20000 rpm\n");
}

TEST(GaugeRules, WantCuesThatLampsCanShow) {
  EXPECT_EQ(broken_by([](Gauge& g) { g.windows[1].cue.steady = 0b1000; }),
            "windows[1].show: a lamp or colour that the gauge does not have; the gauge's own lamps\n");
  EXPECT_EQ(broken_by([](Gauge& g) {
              g.windows[1].cue = {0b100, 0b100};
            }),
            "windows[1].show: far cyan, both steady and blinking; one of the two\n");
  EXPECT_EQ(broken_by([](Gauge& g) {
              g.windows[1].cue = {0b001, 0b010};
            }),
            "windows[1].show: near white, near violet together; one colour of a lamp at a time\n");
}

TEST(GaugeRules, WantADeadbandNarrowerThanEveryWindowThatCanBeLeftBothWays) {
  EXPECT_EQ(broken_by([](Gauge& g) { g.deadband.rpm = 99.9; }), "");
  EXPECT_EQ(broken_by([](Gauge& g) { g.deadband.rpm = 100; }),
            "deadband.rpm: 100 rpm; less than 100 rpm, the width of window 'held'\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.windows[1].from_rpm = 10; }),
            "deadband.rpm: 10 rpm; less than 10 rpm, the width of window 'low'\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.deadband.rpm = -1; }), "deadband.rpm: -1 rpm; from 0 to 20000 rpm\n");
  EXPECT_EQ(broken_by([](Gauge& g) {
              g.windows.resize(1);
              g.deadband.rpm = 500;
            }),
            "");
}

TEST(GaugeRules, WantABlinkWhereAWindowBlinks) {
  EXPECT_EQ(broken_by([](Gauge& g) { g.blink.reset(); }),
            "blink: no blink; hz and duty, because a window blinks\n");
  EXPECT_EQ(broken_by([](Gauge& g) {
              g.blink = Blink{0, 1};
            }),
            "blink.hz: 0 Hz; from 0.1 to 100 Hz\nblink.duty: 1; above 0 and below 1\n");
  EXPECT_EQ(broken_by([](Gauge& g) {
              g.blink.reset();
              g.windows[2].cue.blinking = 0;
            }),
            "");
}

TEST(GaugeRules, WantTolerancesThatAreFiniteAndNotNegative) {
  EXPECT_EQ(broken_by([](Gauge& g) { g.tolerance.rpm = -1; }),
            "tolerance.rpm: -1 rpm; from 0 to 20000 rpm\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.tolerance.response_from = 150 * ns_per_ms; }),
            "tolerance.response_ms.to: 100 ms; at least 150 ms, the fastest response\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.tolerance.response_from = -1; }),
            "tolerance.response_ms.from: -1e-06 ms; from 0 to 60000 ms\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.tolerance.settle = -ns_per_ms; }),
            "tolerance.settle_ms: -1 ms; from 0 to 60000 ms\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.tolerance.signal_lost = 0; }),
            "tolerance.signal_lost_ms: 0 ms; from 1 to 60000 ms\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.tolerance.blink_hz = infinity; }),
            "tolerance.blink_hz: inf Hz; from 0 to 100 Hz\n");
  EXPECT_EQ(broken_by([](Gauge& g) { g.tolerance.blink_duty = 1.5; }),
            "tolerance.blink_duty: 1.5; from 0 to 1\n");
}

}  // namespace
}  // namespace tachproof
