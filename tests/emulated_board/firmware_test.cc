// The firmware, instruction by instruction, on the emulated chip.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>

#include "tests/emulated_board/direct_host.h"

namespace tachproof {
namespace {

constexpr Cycles cycles_per_tick = 8;

// What the pin must do for these entries, in cycles after instant 0.
struct Expected {
  std::vector<Cycles> rising;
  std::vector<Cycles> falling;
};
Expected edges_of(const std::vector<std::uint16_t>& entries, std::uint16_t pulse_ticks) {
  Expected out;
  Cycles at = 0;
  for (std::size_t i = 0; i < entries.size(); ++i) {
    const Cycles ticks = entries[i] & link_max_ticks;
    if (ticks < link_min_ticks) continue;
    at += ticks * cycles_per_tick;
    if (entries[i] & link_entry_wait) continue;
    out.rising.push_back(at);
    Cycles width = pulse_ticks;
    const Cycles next = i + 1 < entries.size() ? entries[i + 1] & link_max_ticks : 0u;
    if (next >= link_min_ticks) width = std::min(width, next / 2);
    out.falling.push_back(at + width * cycles_per_tick);
  }
  return out;
}

void expect_edges(const EmulatedBoard& board, const std::vector<std::uint16_t>& entries,
                  std::uint16_t pulse_ticks) {
  const Expected expected = edges_of(entries, pulse_ticks);
  std::vector<Cycles> rising, falling;
  for (const PinEdge& edge : board.tach_edges()) (edge.rising ? rising : falling).push_back(edge.at);
  ASSERT_EQ(rising.size(), expected.rising.size());
  ASSERT_EQ(falling.size(), expected.falling.size());
  ASSERT_FALSE(rising.empty());
  const Cycles zero = rising.front() - expected.rising.front();
  std::size_t wrong = 0;
  for (std::size_t i = 0; i < rising.size(); ++i) {
    if (rising[i] - zero != expected.rising[i]) ++wrong;
    if (falling[i] - zero != expected.falling[i]) ++wrong;
  }
  EXPECT_EQ(wrong, 0u) << "of " << 2 * rising.size() << " edges";
}

std::vector<std::uint16_t> random_entries(std::size_t count, unsigned shortest, unsigned longest,
                                          unsigned seed) {
  std::mt19937 random(seed);
  std::vector<std::uint16_t> out;
  for (std::size_t i = 0; i < count; ++i) {
    out.push_back(static_cast<std::uint16_t>(shortest + random() % (longest - shortest + 1)));
  }
  out.push_back(link_entry_end);
  return out;
}

TEST(Firmware, GreetsByItselfAndWhenAsked) {
  DirectHost host;
  host.run_for(2 * ns_per_ms);
  ASSERT_EQ(host.frames.size(), 1u);
  EXPECT_EQ(host.frames[0].type, link_hello);
  EXPECT_EQ(host.frames[0].sequence, 0);
  const LinkHello hello = host.hello();
  EXPECT_EQ(hello.protocol, link_protocol_version);
  EXPECT_EQ(hello.clock_hz, board_hz);
  EXPECT_EQ(hello.inputs, 8);
  EXPECT_EQ(hello.outputs, 3);
  EXPECT_EQ(hello.queue_entries, 255);
  EXPECT_EQ(hello.min_ticks, link_min_ticks);
  EXPECT_EQ(host.damaged, 0);
  EXPECT_EQ(host.board.complaints(), "");
}

TEST(Firmware, MakesEveryEdgeInItsCycle) {
  DirectHost host;
  host.hello();
  host.arm(2000, 0);
  const auto entries = random_entries(3000, link_min_ticks + 100, 12'000, 1);
  host.play(entries);
  EXPECT_EQ(host.status().flags, 0);
  expect_edges(host.board, entries, 2000);
  EXPECT_EQ(host.out_of_turn, 0);
  EXPECT_EQ(host.board.bytes_overrun(), 0u);
}

// A pulse whose rising edge comes `early` ticks before the counter's wrap, and
// two more. Always as many entries, so that the train starts at the same time.
std::vector<std::uint16_t> pulses_round_the_wrap(LinkTicks zero, int early) {
  const auto ticks = static_cast<unsigned>(0x20000 - static_cast<int>(zero & 0xffff) - early);
  std::vector<std::uint16_t> entries(5, static_cast<std::uint16_t>(link_entry_wait | (ticks / 6)));
  entries.push_back(static_cast<std::uint16_t>(ticks - 5 * (ticks / 6)));
  entries.insert(entries.end(), {300, 300, link_entry_end});
  return entries;
}

TEST(Firmware, MakesEdgesWhereItsCounterWraps) {
  LinkTicks zero = 0;
  for (int early = -4; early <= 103; ++early) {
    DirectHost host;
    host.hello();
    host.arm(100, 0);
    const auto entries = pulses_round_the_wrap(zero, early);
    const LinkTicks started = host.play(entries);
    if (zero == 0) {
      zero = started;  // the first run is there to find out
      continue;
    }
    ASSERT_EQ(started, zero);
    EXPECT_EQ(host.status().flags, 0) << early;
    expect_edges(host.board, entries, 100);
  }
}

TEST(Firmware, WaitsWithoutAnEdgeHoweverLong) {
  DirectHost host;
  host.hello();
  host.arm(2000, 0);
  std::vector<std::uint16_t> entries;
  append_entries(5000, true, entries);
  append_entries(20'000'000, true, entries);  // 10 s
  append_entries(32'767, true, entries);
  append_entries(32'768, true, entries);
  append_entries(65'536, true, entries);
  append_entries(100, true, entries);
  entries.push_back(link_entry_end);
  host.play(entries, 200 * ns_per_ms);
  EXPECT_EQ(host.status().flags, 0);
  expect_edges(host.board, entries, 2000);
}

// How far each stamp lies after the change it is of, in cycles. The train ties
// the board's ticks to the emulator's cycles: its first edge is known in both.
struct StampErrors {
  std::size_t compared = 0;
  std::int64_t least = 1'000'000;
  std::int64_t most = -1'000'000;
};
StampErrors stamp_errors(const DirectHost& host, LinkTicks zero, const std::vector<std::uint16_t>& entries) {
  const Cycles first_edge = zero * cycles_per_tick + edges_of(entries, 100).rising.front();
  const auto offset = static_cast<std::int64_t>(host.board.tach_edges().front().at - first_edge);
  StampErrors out;
  const auto stamps = host.stamps();
  auto stamp = stamps.begin();
  std::uint8_t last = stamp->inputs;
  for (const PinLevels& change : host.board.input_changes()) {
    // Two close changes may give one stamp, or two that say the same.
    while (stamp != stamps.end() && stamp->inputs == last) ++stamp;
    if (stamp == stamps.end()) break;
    EXPECT_EQ(stamp->inputs, change.levels) << "at cycle " << change.at;
    const std::int64_t error = static_cast<std::int64_t>(stamp->at * cycles_per_tick) + offset -
                               static_cast<std::int64_t>(change.at);
    out.least = std::min(out.least, error);
    out.most = std::max(out.most, error);
    last = stamp->inputs;
    ++out.compared;
  }
  return out;
}

std::vector<std::uint16_t> even_train(std::size_t pulses, std::uint16_t ticks) {
  std::vector<std::uint16_t> out(pulses, ticks);
  out.push_back(link_entry_end);
  return out;
}

TEST(Firmware, StampsEveryChangeSoonAfterItWhileTheTrainPlays) {
  DirectHost host;
  const LinkHello hello = host.hello();
  host.arm(100);
  std::mt19937 random(2);
  Cycles at = host.board.cycle() + 100'000;
  std::uint8_t levels = 0;
  for (int i = 0; i < 2000; ++i) {
    at += 4000 + random() % 10'000;
    levels ^= static_cast<std::uint8_t>(1u << (random() % 8));
    host.board.set_inputs_at({at, levels});
  }
  const auto entries = even_train(2500, 1000);
  const LinkTicks zero = host.play(entries, 5 * ns_per_ms);
  const LinkStatus status = host.status();
  EXPECT_EQ(status.flags, 0);
  EXPECT_EQ(status.lost, 0);
  const StampErrors errors = stamp_errors(host, zero, entries);
  EXPECT_EQ(errors.compared, 2000u);
  RecordProperty("least_cycles", static_cast<int>(errors.least));
  RecordProperty("most_cycles", static_cast<int>(errors.most));
  // Against what the board says of itself.
  EXPECT_GE(errors.least * 125 / 2, hello.stamp_delay_ns);
  EXPECT_LE(errors.most * 125 / 2, hello.stamp_delay_ns + hello.stamp_spread_ns);
}

TEST(Firmware, StampsAreRightWhereTheClockWraps) {
  DirectHost host;
  const LinkHello hello = host.hello();
  host.arm(100);
  const auto entries = even_train(1, 1000);
  const LinkTicks zero = host.play(entries);
  // Changes every 2^16 ticks, a little earlier each time.
  const Cycles first_edge = zero * cycles_per_tick + 1000 * cycles_per_tick;
  const Cycles offset = host.board.tach_edges().front().at - first_edge;
  const Cycles period = Cycles{0x10000} * cycles_per_tick;
  Cycles wrap = (host.board.cycle() - offset) / period * period + offset + period;
  std::uint8_t levels = 0;
  for (int i = 0; i < 120; ++i, wrap += period) {
    levels ^= 1;
    host.board.set_inputs_at({wrap + 160 - static_cast<Cycles>(3 * i), levels});
  }
  while (host.board.cycle() < wrap) host.run_for(20 * ns_per_ms);
  EXPECT_EQ(host.status().lost, 0);
  const StampErrors errors = stamp_errors(host, zero, entries);
  EXPECT_EQ(errors.compared, 120u);
  EXPECT_GE(errors.least * 125 / 2, hello.stamp_delay_ns);
  EXPECT_LE(errors.most * 125 / 2, hello.stamp_delay_ns + hello.stamp_spread_ns);
}

TEST(Firmware, ABurstThatDoesNotFitIsCountedAsLost) {
  DirectHost host;
  host.hello();
  host.arm();
  Cycles at = host.board.cycle() + 16'000;
  for (int i = 1; i <= 500; ++i) host.board.set_inputs_at({at += 400, static_cast<std::uint8_t>(i & 1)});
  host.run_for(100 * ns_per_ms);
  const LinkStatus status = host.status();
  EXPECT_GT(status.lost, 0);
  EXPECT_EQ(host.stamps().size() + status.lost, 501u);  // the first is from arm
  EXPECT_EQ(parse_lamps(host.last(link_lamps)->payload)->lost, status.lost);
}

TEST(Firmware, ListensOnlyToWiredInputs) {
  DirectHost host;
  host.hello();
  host.arm(2000, 0x81);
  for (const unsigned levels : {0x01u, 0x03u, 0x7fu, 0xffu, 0xfeu}) {
    host.board.set_inputs(static_cast<std::uint8_t>(levels));
    host.run_for(ns_per_ms);
  }
  std::vector<std::uint8_t> seen;
  for (const LinkStamp& stamp : host.stamps()) seen.push_back(stamp.inputs & 0x81);
  EXPECT_THAT(seen, testing::ElementsAre(0x00, 0x01, 0x81, 0x80));
}

TEST(Firmware, AnEmptyQueueInMidTrainStopsWithTheOutputLow) {
  DirectHost host;
  host.hello();
  host.arm();
  const std::vector<std::uint16_t> entries{4000, 4000, 4000};
  host.play(entries);
  const LinkStatus status = host.status();
  EXPECT_EQ(status.state, link_state_stopped);
  EXPECT_EQ(status.flags, link_flag_underrun);
  EXPECT_EQ(status.edges, 3);
  ASSERT_EQ(host.board.tach_edges().size(), 6u);
  EXPECT_FALSE(host.board.tach_edges().back().rising);
}

TEST(Firmware, SilenceOfTheHostStopsTheRun) {
  DirectHost host;
  host.hello();
  host.arm();
  for (int i = 0; i < 3; ++i) host.send(link_train, train_payload(std::vector<std::uint16_t>(30, 32'000)));
  host.send(link_start);
  host.run_for(900 * ns_per_ms);
  EXPECT_EQ(host.last(link_status), nullptr);
  host.run_for(200 * ns_per_ms);
  ASSERT_NE(host.last(link_status), nullptr);
  const LinkStatus status = parse_status(host.last(link_status)->payload).value();
  EXPECT_EQ(status.state, link_state_stopped);
  EXPECT_EQ(status.flags, link_flag_watchdog);
}

TEST(Firmware, AQuietHostThatAsksNowAndThenIsNotSilent) {
  DirectHost host;
  host.hello();
  host.arm();
  std::vector<std::uint16_t> entries;
  append_entries(6'000'000, true, entries);  // 3 s
  entries.push_back(link_entry_end);
  host.play(entries, 900 * ns_per_ms);
  EXPECT_EQ(host.status().flags, 0);
}

TEST(Firmware, SetsOutputsInTheirPlaceInTheTrain) {
  DirectHost host;
  host.hello();
  host.arm();
  const std::vector<std::uint16_t> entries{4000, outputs_entry(link_output_press_1 | link_output_sync_lamp),
                                           4000, outputs_entry(link_output_press_2),
                                           4000, link_entry_end};
  host.play(entries);
  EXPECT_EQ(host.status().state, link_state_ended);
  // Taken when the pulse before ends, 1 ms after its edge.
  std::vector<std::pair<std::uint8_t, Cycles>> changes;
  const Cycles first = host.board.tach_edges().front().at;
  for (const PinLevels& change : host.board.output_changes()) {
    if (change.at > first) changes.emplace_back(change.levels, (change.at - first) / 1000);
  }
  // At an end all outputs are let go, one after another.
  ASSERT_GE(changes.size(), 4u);
  EXPECT_EQ(changes[0].first, link_output_press_1);
  EXPECT_EQ(changes[0].second, 16u);
  EXPECT_EQ(changes[1].first, link_output_press_1 | link_output_sync_lamp);
  EXPECT_EQ(host.board.output_changes().back().levels, 0);
}

TEST(Firmware, SetsOutputsAtOnceOutsideARun) {
  DirectHost host;
  host.hello();
  host.send(link_outputs, {link_output_press_2});
  host.run_for(ns_per_ms);
  EXPECT_EQ(host.board.output_changes().back().levels, link_output_press_2);
  host.send(link_stop);
  host.run_for(ns_per_ms);
  EXPECT_EQ(host.board.output_changes().back().levels, 0);
}

TEST(Firmware, StartsWithTheRightEdgeAfterAStopInMidPulse) {
  DirectHost host;
  host.hello();
  host.arm(16'000, 0);
  host.send(link_train, train_payload(std::vector<std::uint16_t>{2000, 32'000, link_entry_end}));
  host.send(link_start);
  host.run_for(6 * ns_per_ms);
  ASSERT_TRUE(host.board.tach_edges().back().rising);
  host.send(link_stop);
  host.run_for(ns_per_ms);
  ASSERT_FALSE(host.board.tach_edges().back().rising);
  const std::size_t before = host.board.tach_edges().size();
  host.arm(2000, 0);
  host.play({2000, 2000, link_entry_end});
  const auto& edges = host.board.tach_edges();
  ASSERT_EQ(edges.size(), before + 4);
  EXPECT_TRUE(edges[before].rising);
  EXPECT_EQ(edges[before + 2].at - edges[before].at, 2000 * cycles_per_tick);
}

TEST(Firmware, StartsAnywhereInItsCountersRange) {
  // A match of an old compare value may be waiting when a train starts.
  DirectHost host;
  host.hello();
  std::mt19937 random(3);
  for (int i = 0; i < 300; ++i) {
    host.run_for(static_cast<Nanos>(random() % 40'000'000));
    const std::size_t before = host.board.tach_edges().size();
    host.arm(100, 0);
    host.play({200, 300, link_entry_end});
    const auto& edges = host.board.tach_edges();
    ASSERT_EQ(edges.size(), before + 4) << i;
    ASSERT_EQ(edges[before + 2].at - edges[before].at, 300 * cycles_per_tick) << i;
    ASSERT_EQ(host.status().flags, 0) << i;
  }
}

TEST(Firmware, DamageOnTheLineStopsTheRun) {
  for (auto kind : {LineFault::Kind::flip, LineFault::Kind::lose, LineFault::Kind::twice}) {
    DirectHost host;
    host.hello();
    host.arm();
    const std::size_t sent = encode({link_ask_hello, 0, ask_hello_payload()}).size() +
                             encode({link_arm, 1, arm_payload(2000, 0xff)}).size();
    host.board.damage({LineFault::Direction::to_board, kind, sent + 1000, 3});
    host.play(even_train(3000, 1000), 10 * ns_per_ms);
    const LinkStatus status = host.status();
    EXPECT_EQ(status.state, link_state_stopped);
    EXPECT_EQ(status.flags, link_flag_link);
  }
}

TEST(Firmware, RefusesEntriesThatMeanNothing) {
  DirectHost host;
  host.hello();
  host.arm();
  host.play({2000, 50, 2000, link_entry_end});
  EXPECT_EQ(host.status().flags, link_flag_bad_train);
}

TEST(Firmware, MoreEntriesThanFitAreAnOverrun) {
  DirectHost host;
  host.hello();
  host.arm();
  for (int i = 0; i < 9; ++i) host.send(link_train, train_payload(std::vector<std::uint16_t>(30, 1000)));
  host.run_for(20 * ns_per_ms);
  EXPECT_EQ(host.status().flags, link_flag_overrun);
}

TEST(Firmware, AResetIsToldByItsGreeting) {
  DirectHost host;
  host.hello();
  host.arm();
  host.send(link_train, train_payload(std::vector<std::uint16_t>(30, 10'000)));
  host.send(link_start);
  host.run_for(20 * ns_per_ms);
  host.frames.clear();
  host.board.reset();
  host.run_for(5 * ns_per_ms);
  ASSERT_EQ(host.frames.size(), 1u);
  EXPECT_EQ(host.frames[0].type, link_hello);
  const std::size_t edges = host.board.tach_edges().size();
  host.run_for(50 * ns_per_ms);
  EXPECT_EQ(host.board.tach_edges().size(), edges);
}

TEST(Firmware, AnInputStormMakesItLateAndItSaysSo) {
  DirectHost host;
  host.hello();
  host.arm(100);
  Cycles at = host.board.cycle() + 160'000;
  for (int i = 0; i < 5000; ++i) host.board.set_inputs_at({at += 130, static_cast<std::uint8_t>(i & 1)});
  const auto entries = even_train(2000, 200);
  host.play(entries, 5 * ns_per_ms);
  const LinkStatus status = host.status();
  EXPECT_EQ(status.state, link_state_stopped);
  EXPECT_NE(status.flags & (link_flag_late | link_flag_overrun), 0);
  EXPECT_GT(status.lost, 0);
}

TEST(Firmware, KeepsUpTheShortestInterval) {
  DirectHost host;
  host.hello();
  host.arm(2000, 0);
  const auto entries = even_train(20'000, link_min_ticks);  // 1 s
  host.play(entries);
  EXPECT_EQ(host.status().flags, 0);
  expect_edges(host.board, entries, 2000);
  EXPECT_EQ(host.board.bytes_overrun(), 0u);
}

TEST(Firmware, LosesNoneOfEightThousandChangesInASecond) {
  DirectHost host;
  host.hello();
  host.arm(2000, 0x01);
  Cycles at = host.board.cycle() + 160'000;
  for (int i = 1; i <= 8000; ++i) host.board.set_inputs_at({at += 2000, static_cast<std::uint8_t>(i & 1)});
  host.play(even_train(1000, 2000));
  host.run_for(20 * ns_per_ms);
  EXPECT_EQ(host.status().lost, 0);
  EXPECT_EQ(host.stamps().size(), 8001u);
}

}  // namespace
}  // namespace tachproof
