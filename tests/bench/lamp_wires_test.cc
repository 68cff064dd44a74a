#include "bench/formats/lamp_wires.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <string>
#include <vector>

#include "tests/bench/recording_support.h"

namespace tachproof {
namespace {

constexpr Channels left_white = 1;
constexpr Channels left_blue = 2;
constexpr Channels top = 4;

Wiring wiring(bool active_high = true, bool tach_rising = true, const std::string& tach = "T") {
  Wiring w;
  w.active_high = active_high;
  w.tach_rising = tach_rising;
  w.tach = tach;
  return w;
}

TEST(LampWires, AsksForTheTachAndEveryWiredChannelOnce) {
  const LampWires wires({{"A", left_white}, {"B", left_blue}, {"A", top}}, wiring());
  EXPECT_EQ(wires.wanted(), (std::vector<std::string>{"T", "A", "B"}));
  EXPECT_EQ(LampWires({{"A", left_white}}, wiring(true, true, "")).wanted(), (std::vector<std::string>{"A"}));
}

TEST(LampWires, MakesOneEventOfTheChangesAtOneInstant) {
  LampWires wires({{"A", left_white}, {"B", left_blue}}, wiring());
  wires.add(Changes{{0, 0, low}, {0, 1, high}, {0, 2, low}, {50, 1, low}});
  wires.add(Changes{{50, 2, high}, {90, 1, high}, {90, 1, low}});  // on and off at once: nothing seen
  wires.finish();
  EXPECT_EQ(wires.take_lamps(), (std::vector<LampEvent>{{0, left_white}, {50, left_blue}}));
  EXPECT_TRUE(wires.take_lamps().empty());
  EXPECT_TRUE(wires.unknown().empty());
}

TEST(LampWires, BeginWithAnEventEvenInTheDark) {
  LampWires wires({{"A", left_white}}, wiring(true, true, ""));
  wires.add(Changes{{0, 0, low}});
  wires.finish();
  EXPECT_EQ(wires.take_lamps(), (std::vector<LampEvent>{{0, 0}}));
}

TEST(LampWires, TakeTheLevelThatTheWiringCallsActive) {
  LampWires wires({{"A", left_white}, {"B", left_blue}}, wiring(false));
  wires.add(Changes{{0, 0, low}, {0, 1, low}, {0, 2, high}, {70, 1, high}});
  wires.finish();
  EXPECT_EQ(wires.take_lamps(), (std::vector<LampEvent>{{0, left_white}, {70, 0}}));
}

TEST(LampWires, LightALampThatAnyOfItsChannelsLights) {
  LampWires wires({{"A", left_white | top}, {"B", top}}, wiring(true, true, ""));
  wires.add(Changes{{0, 0, high}, {0, 1, high}, {10, 0, low}, {20, 1, low}});
  wires.finish();
  EXPECT_EQ(wires.take_lamps(), (std::vector<LampEvent>{{0, left_white | top}, {10, top}, {20, 0}}));
}

TEST(LampWires, GiveTheTachLineWithTheLevelAfterTheWiringsEdgeAsTheActiveOne) {
  const Changes square = {{0, 0, low}, {10, 0, high}, {20, 0, low}, {30, 0, high}, {40, 0, low}};
  LampWires rising({}, wiring());
  rising.add(square);
  EXPECT_EQ(rising.take_tach(), (std::vector<LineChange>{{10, true}, {20, false}, {30, true}, {40, false}}));
  LampWires falling({}, wiring(true, false));
  falling.add(square);
  EXPECT_EQ(falling.take_tach(), (std::vector<LineChange>{{10, false}, {20, true}, {30, false}, {40, true}}));
  EXPECT_TRUE(falling.take_tach().empty());
}

TEST(LampWires, SeeNoTachEdgeOutOfAnUnknownLevel) {
  LampWires wires({}, wiring());
  wires.add(
      Changes{{0, 0, unknown}, {10, 0, high}, {20, 0, unknown}, {30, 0, high}, {40, 0, low}, {50, 0, high}});
  EXPECT_EQ(wires.take_tach(), (std::vector<LineChange>{{40, false}, {50, true}}));
}

TEST(LampWires, ReportUnknownLevelsAndTakeThemForDark) {
  LampWires wires({{"A", left_white}, {"B", left_blue}}, wiring(false));
  wires.add(Changes{{0, 0, high},
                    {0, 1, low},
                    {0, 2, high},
                    {10, 1, unknown},
                    {20, 1, low},
                    {25, 0, unknown},
                    {30, 1, unknown}});
  wires.finish();
  EXPECT_EQ(wires.take_lamps(),
            (std::vector<LampEvent>{{0, left_white}, {10, 0}, {20, left_white}, {30, 0}}));
  ASSERT_EQ(wires.unknown().size(), 2u);
  EXPECT_EQ(wires.unknown()[0].channel, "A");
  EXPECT_EQ(wires.unknown()[0].times, 2u);
  EXPECT_EQ(wires.unknown()[0].first, 10);
  EXPECT_EQ(wires.unknown()[1].channel, "T");
  EXPECT_EQ(wires.unknown()[1].times, 1u);
  EXPECT_EQ(wires.unknown()[1].first, 25);
}

RC_GTEST_PROP(LampWires, GiveTheSameHoweverTheChangesAreDividedUp, ()) {
  const auto raw = *rc::gen::container<std::vector<std::tuple<int, std::uint32_t, int>>>(
      rc::gen::tuple(rc::gen::inRange(0, 3), rc::gen::inRange(0u, 3u), rc::gen::inRange(0, 3)));
  const auto cut = *rc::gen::inRange<std::size_t>(0, raw.size() + 1);
  Changes changes;
  Nanos at = 0;
  for (const auto& [gap, channel, level] : raw)
    changes.push_back({at += gap, channel, static_cast<Level>(level)});
  LampWires whole({{"A", left_white}, {"B", left_blue}}, wiring());
  whole.add(changes);
  whole.finish();
  LampWires parted({{"A", left_white}, {"B", left_blue}}, wiring());
  parted.add(std::span(changes).first(cut));
  auto lamps = parted.take_lamps();
  parted.add(std::span(changes).subspan(cut));
  parted.finish();
  for (const LampEvent& e : parted.take_lamps()) lamps.push_back(e);
  RC_ASSERT(lamps == whole.take_lamps());
  RC_ASSERT(parted.take_tach() == whole.take_tach());
  RC_ASSERT(std::adjacent_find(lamps.begin(), lamps.end(), [](const LampEvent& a, const LampEvent& b) {
              return a.at >= b.at || a.lit == b.lit;
            }) == lamps.end());
}

}  // namespace
}  // namespace tachproof
