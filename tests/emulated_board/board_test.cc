// The board as source and watcher, over a pseudo-terminal, with the emulator
// behind it in lock step.

#include "bench/rigs/board/board.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>

#include "bench/firmware/protocol.h"
#include "tests/bench/unit_scene.h"
#include "tests/emulated_board/bench_with_board.h"
#include "tests/emulated_board/unit_on_pins.h"

namespace tachproof {
namespace {

using test::Signal;
using test::test_gauge;

BoardSettings test_settings() {
  using namespace test;
  BoardSettings settings;
  settings.wires = {{"in0", left_white},
                    {"in1", left_blue},
                    {"in3", right_white},
                    {"in6", top_blue},
                    {"in7", right_magenta}};
  return settings;
}

TEST(Board, PlaysTheTrainThatItIsGiven) {
  BenchWithBoard bench(test_settings());
  Signal signal(3);
  signal.hold(2000, 1).ramp(2000, 8000, 2).silence(1).hold(3000, 0.5);
  bench.run(signal.pulses(), signal.until());
  std::vector<Cycles> rising;
  for (const PinEdge& edge : bench.board().tach_edges())
    if (edge.rising) rising.push_back(edge.at);
  ASSERT_EQ(rising.size(), signal.pulses().size());
  const auto tick = [](Nanos t) { return static_cast<Cycles>((t + 250) / 500) * 8; };
  for (std::size_t i = 1; i < rising.size(); ++i) {
    ASSERT_EQ(rising[i] - rising[0], tick(signal.pulses()[i]) - tick(signal.pulses()[0])) << i;
  }
}

std::unique_ptr<WiredUnit> test_unit(const BoardSettings& settings) {
  SimulatedUnit unit(test_gauge(), test::exact_behaviour(), test_gauge());
  return std::make_unique<UnitOnPins>(std::move(unit), settings.wires, settings.active_high);
}

// Pin changes while the run was on, as the watcher should have reported them:
// the board's tick 0 of the run comes from the first edge.
std::vector<LampEvent> pin_changes(const EmulatedBoard& board, const BoardSettings& settings,
                                   Nanos first_pulse, Nanos until) {
  const auto first_edge = static_cast<Nanos>(nanos_of(board.tach_edges().front().at));
  const Nanos zero = first_edge - first_pulse;
  std::vector<LampEvent> out;
  Channels last = 0;
  for (const PinLevels& change : board.input_changes()) {
    Channels lit = 0;
    for (const ResolvedWire& wire : settings.wires) {
      const bool high = ((change.levels >> board_input(wire.channel).value()) & 1) != 0;
      if (high == settings.active_high) lit |= wire.lights;
    }
    const Nanos at = std::max<Nanos>(nanos_of(change.at) - zero, 0);
    if (at > until) break;
    if (at == 0 && !out.empty()) out.pop_back();
    if (!out.empty() && lit == last) continue;
    out.push_back({at, lit});
    last = lit;
  }
  return out;
}

void expect_seen(const std::vector<LampEvent>& seen, const std::vector<LampEvent>& true_changes) {
  ASSERT_EQ(seen.size(), true_changes.size());
  Nanos least = ns_per_s, most = -ns_per_s;
  for (std::size_t i = 0; i < seen.size(); ++i) {
    EXPECT_EQ(seen[i].lit, true_changes[i].lit) << i;
    if (seen[i].at == 0) continue;
    least = std::min(least, seen[i].at - true_changes[i].at);
    most = std::max(most, seen[i].at - true_changes[i].at);
  }
  EXPECT_GE(least, -ns_per_us);
  EXPECT_LE(most, 17 * ns_per_us + ns_per_us);  // what the board says of itself, and a tick or two
}

TEST(Board, SeesEveryLampChangeAtItsInstant) {
  for (const bool active_high : {true, false}) {
    BoardSettings settings = test_settings();
    settings.active_high = active_high;
    BenchWithBoard bench(settings, test_unit(settings));
    Signal signal(3);
    signal.hold(1000, 0.5).ramp(1000, 8000, 3).ramp(8000, 1000, 3).hold(1000, 0.5);
    const auto run = bench.run(signal.pulses(), signal.until());
    EXPECT_EQ(run.lost, 0u);
    EXPECT_EQ(run.until, signal.until());
    EXPECT_GT(run.events.size(), 15u);
    expect_seen(run.events, pin_changes(bench.board(), settings, signal.pulses().front(), signal.until()));
    EXPECT_EQ(bench.board().complaints(), "");
  }
}

// TACHPROOF_SOAK_S makes it longer.
TEST(Board, KeepsItsWordOverALongerRun) {
  const char* asked = std::getenv("TACHPROOF_SOAK_S");
  const int seconds = asked != nullptr ? std::atoi(asked) : 24;
  const BoardSettings settings = test_settings();
  BenchWithBoard bench(settings, test_unit(settings));
  Signal signal(3);
  for (int s = 0; s < seconds; s += 8) signal.ramp(900, 8200, 4).ramp(8200, 900, 4);
  const auto run = bench.run(signal.pulses(), signal.until());
  EXPECT_EQ(run.lost, 0u);
  EXPECT_EQ(bench.board().tach_edges().size(), 2 * signal.pulses().size());
  expect_seen(run.events, pin_changes(bench.board(), settings, signal.pulses().front(), signal.until()));
}

TEST(Board, GivesTheSameRunTwice) {
  const auto once = [] {
    const BoardSettings settings = test_settings();
    BenchWithBoard bench(settings, test_unit(settings));
    Signal signal(3);
    signal.ramp(2000, 7500, 1.5);
    return bench.run(signal.pulses(), signal.until()).events;
  };
  EXPECT_EQ(once(), once());
}

TEST(Board, PlaysOneRunAfterAnother) {
  const BoardSettings settings = test_settings();
  BenchWithBoard bench(settings, test_unit(settings));
  Signal signal(3);
  signal.hold(3500, 1);
  std::size_t edges = 0;
  for (int i = 0; i < 3; ++i) {
    const auto run = bench.run(signal.pulses(), signal.until());
    EXPECT_EQ(run.lost, 0u);
    edges += 2 * signal.pulses().size();
    EXPECT_EQ(bench.board().tach_edges().size(), edges) << i;
  }
}

TEST(Board, PressesForAsLongAsIsAskedWithTheSyncLampLit) {
  BoardSettings settings = test_settings();
  settings.actions = {"capture", "mode"};
  BenchWithBoard bench(settings);
  Source& source = *bench.rig().source;
  EXPECT_TRUE(source.can_press("capture"));
  EXPECT_TRUE(source.can_press("mode"));
  EXPECT_FALSE(source.can_press("press-1"));
  Signal signal(3);
  signal.hold(1500, 1);
  source.begin();
  source.press({"mode", 200 * ns_per_ms}, 300 * ns_per_ms);
  source.play({signal.pulses(), signal.until()});
  std::vector<LampEvent> events;
  bench.rig().watcher->collect(signal.until(), events);
  source.end();
  const Nanos zero = nanos_of(bench.board().tach_edges().front().at) - signal.pulses().front();
  std::vector<std::pair<Nanos, std::uint8_t>> changes;
  for (const PinLevels& change : bench.board().output_changes())
    changes.emplace_back(nanos_of(change.at) - zero, change.levels);
  ASSERT_EQ(changes.size(), 4u);
  EXPECT_EQ(changes[0].second, link_output_sync_lamp);
  EXPECT_NEAR(static_cast<double>(changes[0].first), 0, 20e3);
  EXPECT_EQ(changes[1].second, link_output_sync_lamp | link_output_press_2);
  EXPECT_NEAR(static_cast<double>(changes[1].first), 300e6, 20e3);
  EXPECT_EQ(changes[2].second, link_output_sync_lamp);
  EXPECT_NEAR(static_cast<double>(changes[2].first), 500e6, 20e3);
  EXPECT_EQ(changes[3].second, 0);
}

TEST(Board, SaysWhatItIs) {
  BenchWithBoard bench(test_settings());
  const SourceFacts source = bench.rig().source->facts();
  EXPECT_EQ(source.kind, "board");
  EXPECT_THAT(source.description,
              ::testing::MatchesRegex("board on /dev/pts/[0-9]+, firmware 1.2 .build [0-9a-f]+."));
  EXPECT_EQ(source.tick, 500);
  EXPECT_FALSE(source.virtual_time);
  const WatcherFacts watcher = bench.rig().watcher->facts();
  EXPECT_EQ(watcher.kind, "board");
  EXPECT_EQ(watcher.resolution, 500);
  EXPECT_EQ(watcher.stamp_uncertainty, 9814);  // 17 us by the root of 3
  EXPECT_EQ(watcher.wired, test_gauge().all_channels());
}

template <typename Call>
std::string rig_error(Call call) {
  try {
    call();
  } catch (const RigError& e) {
    return e.what();
  }
  return "no RigError";
}

TEST(Board, RefusesAWireThatItDoesNotHave) {
  BoardSettings settings = test_settings();
  settings.wires.push_back({"in8", 1});
  try {
    BenchWithBoard bench(settings);
    FAIL() << "taken";
  } catch (const std::invalid_argument& e) {
    EXPECT_STREQ(e.what(), "the board has no channel 'in8'; it has in0 to in7");
  }
}

TEST(Board, SaysThatItRanOutWhenTheBenchIsTooSlow) {
  BenchWithBoard bench(test_settings());
  const std::string port = bench.port();
  Signal signal(3);
  signal.hold(2000, 1);
  Source& source = *bench.rig().source;
  source.begin();
  source.play({signal.pulses(), signal.until()});
  std::vector<LampEvent> events;
  bench.rig().watcher->collect(signal.until() + ns_per_s, events);
  const std::vector<Nanos> more{2 * ns_per_s};
  EXPECT_EQ(rig_error([&] {
              source.play({more, 2 * ns_per_s});
            }),
            "the board on " + port +
                " ran out of pulses at 1.000 s, because the bench was too slow: close other programs, and "
                "run again");
  source.end();
}

TEST(Board, RefusesPulsesThatAreTooClose) {
  BenchWithBoard bench(test_settings());
  Source& source = *bench.rig().source;
  source.begin();
  const std::vector<Nanos> close{ns_per_ms, ns_per_ms + 40 * ns_per_us};
  EXPECT_EQ(rig_error([&] {
              source.play({close, ns_per_s});
            }),
            "playing the train on the board: two pulses at 0.001040 s are 40 us apart; the board needs at "
            "least 44 us");
  source.end();
}

TEST(Board, FindsOutAClockThatIsNoCrystals) {
  // A ceramic resonator at the end of its tolerance, and one of the good ones.
  for (const double off : {0.005, -0.001}) {
    BenchWithBoard bench(test_settings(), nullptr, 1 - off);
    Signal signal(3);
    signal.hold(1000, 60);
    const std::string error = rig_error([&] { bench.run(signal.pulses(), signal.until()); });
    const std::string by = off > 0 ? "0.50" : "-0.10";
    EXPECT_EQ(error, "the board on " + bench.port() + " has a clock that is " + by +
                         " % off: use a board with a crystal");
  }
}

// A second of train with something happening to the board in its middle.
std::string error_after(const std::string& request) {
  BenchWithBoard bench(test_settings());
  const std::string port = bench.port();
  Signal signal(3);
  signal.hold(3000, 1);
  Source& source = *bench.rig().source;
  std::vector<LampEvent> events;
  std::string error = rig_error([&] {
    source.begin();
    source.play({signal.pulses(), signal.until()});
    bench.request(request);
    bench.rig().watcher->collect(signal.until(), events);
  });
  source.end();
  const auto at = error.find(port);
  if (at != std::string::npos) error.replace(at, port.size(), "PORT");
  return error;
}

TEST(Board, NoticesARestartInMidRun) {
  EXPECT_EQ(error_after("reset"),
            "the board on PORT has restarted: check its cable and its supply, and run again");
}

TEST(Board, NoticesBeingUnplugged) {
  EXPECT_EQ(error_after("hang-up"), "the board on PORT has been unplugged");
}

}  // namespace
}  // namespace tachproof
