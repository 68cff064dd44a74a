// The board as source and watcher, over a pseudo-terminal, with the emulator
// behind it in lock step.

#include "bench/rigs/board.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>

#include "tests/bench/unit_scene.h"
#include "tests/emulated_board/bench_with_board.h"

namespace tachproof {
namespace {

using testing::Signal;
using testing::test_gauge;

BoardSettings test_settings() {
  using namespace testing;
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

}  // namespace
}  // namespace tachproof
