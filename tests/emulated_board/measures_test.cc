// What the README's table says, measured again: TACHPROOF_MEASURE=1. Nothing
// is asserted of a machine's speed.

#include <gtest/gtest.h>

#include <chrono>
#include <cstdlib>
#include <functional>
#include <iostream>

#include "tests/emulated_board/direct_host.h"

namespace tachproof {
namespace {

constexpr double bytes_per_s = +link_baud / 10.0;

class Measures : public testing::Test {
 protected:
  void SetUp() override {
    if (std::getenv("TACHPROOF_MEASURE") == nullptr) GTEST_SKIP() << "TACHPROOF_MEASURE is not set";
  }
};

// A second of changes of one lamp, one every `period`, beside a train of 1000
// pulses a second: none lost, none late.
bool keeps_up_lamps(Cycles period) {
  DirectHost host;
  host.hello();
  host.arm(2000, 0x01);
  const auto changes = static_cast<int>(board_hz / period);
  Cycles at = host.board.cycle() + 160'000;
  for (int i = 1; i <= changes; ++i)
    host.board.set_inputs_at({at += period, static_cast<std::uint8_t>(i & 1)});
  host.play(even_train(1000, 2000));
  host.run_for(50 * ns_per_ms);
  const LinkStatus status = host.status();
  return status.flags == 0 && status.lost == 0 &&
         host.stamps().size() == static_cast<std::size_t>(changes) + 1;
}

bool keeps_up_pulses(std::uint16_t ticks) {
  DirectHost host;
  host.hello();
  host.arm(2000, 0);
  try {
    host.play(even_train(2'000'000 / ticks, ticks));
    return host.status().flags == 0 && host.board.bytes_overrun() == 0;
  } catch (const std::runtime_error&) {
    return false;  // no answer: the handlers left its main loop no time
  }
}

// The least that holds; `holds` must be false below and true above.
template <typename Number>
Number least(Number below, Number above, const std::function<bool(Number)>& holds) {
  while (above - below > 1) {
    const Number middle = static_cast<Number>(below + (above - below) / 2);
    (holds(middle) ? above : below) = middle;
  }
  return above;
}

TEST_F(Measures, HighestRates) {
  const auto ticks = least<std::uint16_t>(link_min_ticks - 1, 400, keeps_up_pulses);
  const double entries_bytes = static_cast<double>(link_max_on_wire) / (+link_max_payload / 2);
  std::cout << "pulses a second: " << 2e6 / ticks << "; the wire carries " << bytes_per_s / entries_bytes
            << "\n";
  const auto period = least<Cycles>(500, 8000, keeps_up_lamps);
  const double stamp_bytes = static_cast<double>(link_max_on_wire) / +link_max_stamps;
  std::cout << "lamp changes a second: " << static_cast<double>(board_hz) / static_cast<double>(period)
            << "; the wire carries " << bytes_per_s / stamp_bytes << "\n";
}

TEST_F(Measures, EmulatedSpeed) {
  for (const bool busy : {false, true}) {
    DirectHost host;
    host.hello();
    const auto begun = std::chrono::steady_clock::now();
    const Cycles first = host.board.cycle();
    if (busy) {
      host.arm(2000, 0xff);
      host.play(even_train(13'333, 1500));  // 1,333 a second: 20,000 rpm x 4
    } else {
      host.run_for(10 * ns_per_s);
    }
    const std::chrono::duration<double> wall = std::chrono::steady_clock::now() - begun;
    std::cout << (busy ? "with 1,333 pulses a second: " : "idle: ")
              << to_seconds(nanos_of(host.board.cycle() - first)) / wall.count() << " times real time\n";
  }
}

}  // namespace
}  // namespace tachproof
