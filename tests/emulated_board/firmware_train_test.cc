// The firmware on the emulated chip: the train, edge by edge.

#include <gtest/gtest.h>

#include <random>

#include "tests/emulated_board/direct_host.h"

namespace tachproof {
namespace {

void expect_edges(const EmulatedBoard& board, const std::vector<std::uint16_t>& entries,
                  std::uint16_t pulse_ticks) {
  const TrainEdges expected = edges_of(entries, pulse_ticks);
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
  EXPECT_EQ(hello.outputs, 4);
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

TEST(Firmware, KeepsUpTheShortestInterval) {
  DirectHost host;
  host.hello();
  host.arm(2000, 0);
  const auto entries = even_train(22'727, link_min_ticks);  // 1 s
  host.play(entries);
  EXPECT_EQ(host.status().flags, 0);
  expect_edges(host.board, entries, 2000);
  EXPECT_EQ(host.board.bytes_overrun(), 0u);
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

}  // namespace
}  // namespace tachproof
