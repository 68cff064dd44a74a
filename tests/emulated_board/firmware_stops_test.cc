// The firmware on the emulated chip: what stops a run, and how it says so.

#include <gtest/gtest.h>

#include "tests/emulated_board/direct_host.h"

namespace tachproof {
namespace {

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

TEST(Firmware, DamageOnTheLineStopsTheRun) {
  for (auto kind : {LineFault::Kind::flip, LineFault::Kind::lose, LineFault::Kind::twice}) {
    DirectHost host;
    host.hello();
    host.arm();
    const std::size_t sent = encode({link_ask_hello, 0, ask_hello_payload()}).size() +
                             encode({link_arm, 1, arm_payload(2000, 0xff)}).size();
    // Amid a frame: a second 0x00 after its end would do no harm.
    host.board.damage({LineFault::Direction::to_board, kind, sent + 1050, 3});
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

}  // namespace
}  // namespace tachproof
