// The firmware on the emulated chip: stamps of the inputs.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>

#include "tests/emulated_board/direct_host.h"

namespace tachproof {
namespace {

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

// All that can keep interrupts off at once: a setting of the outputs before each
// interval, full frames both ways, and a status asked for all the time.
TEST(Firmware, StampsEveryChangeSoonAfterItWhileTheTrainPlays) {
  DirectHost host;
  const LinkHello hello = host.hello();
  host.arm(100);
  std::mt19937 random(2);
  Cycles at = host.board.cycle() + 100'000;
  std::uint8_t levels = 0;
  for (int i = 0; i < 5000; ++i) {
    at += 3000 + random() % 3000;
    levels ^= static_cast<std::uint8_t>(1u << (random() % 8));
    host.board.set_inputs_at({at, levels});
  }
  std::vector<std::uint16_t> entries;
  for (unsigned i = 0; i < 3000; ++i) {
    entries.push_back(static_cast<std::uint16_t>(link_entry_outputs | (i & link_outputs_all)));
    entries.push_back(1000);
  }
  entries.push_back(link_entry_end);
  const LinkTicks zero = host.play(entries, ns_per_ms);
  const LinkStatus status = host.status();
  EXPECT_EQ(status.flags, 0);
  EXPECT_EQ(status.lost, 0);
  const StampErrors errors = stamp_errors(host, zero, entries);
  EXPECT_EQ(errors.compared, 5000u);
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

TEST(Firmware, AnInputThatWasNotWiredInTheRunBeforeIsReadAsItIsDriven) {
  for (const int levels : {0x00, 0x42, 0xff}) {
    DirectHost host;
    host.hello();
    host.board.set_inputs(static_cast<std::uint8_t>(levels));
    host.arm(100, 0x0f);  // the others get pull-ups
    host.run_for(10 * ns_per_ms);
    host.send(link_stop);
    host.status();
    host.frames.clear();
    host.arm(100, 0xff);
    host.run_for(10 * ns_per_ms);
    ASSERT_EQ(host.stamps().size(), 1u);
    EXPECT_EQ(host.stamps()[0].inputs, levels);
  }
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

TEST(Firmware, LosesNoneOfEightThousandChangesInASecond) {
  DirectHost host;
  host.hello();
  host.arm(2000, 0x01);
  Cycles at = host.board.cycle() + 160'000;
  for (int i = 1; i <= 8000; ++i) host.board.set_inputs_at({at += 2000, static_cast<std::uint8_t>(i & 1)});
  host.play(even_train(1000, 2000));
  host.run_for(20 * ns_per_ms);
  EXPECT_EQ(host.status().flags, 0);  // nor lets the train run dry meanwhile
  EXPECT_EQ(host.status().lost, 0);
  EXPECT_EQ(host.stamps().size(), 8001u);
}

}  // namespace
}  // namespace tachproof
