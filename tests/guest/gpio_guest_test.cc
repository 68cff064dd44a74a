// The GPIO watcher and the kernel itself: runs in the guest, as root.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <thread>

#include "bench/rigs/command_clock.h"
#include "bench/rigs/gpio/gpio_watcher.h"
#include "tests/bench/error_of.h"
#include "tests/guest/sim_chip.h"

namespace tachproof {
namespace {

using testing::ElementsAre;
using testing::StartsWith;

class GuestGpio : public testing::Test {
 protected:
  GpioChipFound found() { return find_gpio_chip(gpio_chips(*kernel), "fen", {}); }
  GpioLines lines(std::vector<unsigned> numbers, bool active_low = false, GpioBias bias = GpioBias::as_is) {
    return GpioLines(kernel, found(), std::move(numbers), active_low, bias);
  }
  std::unique_ptr<GpioWatcher> watcher() {
    const GpioSettings settings{"fen", GpioBias::as_is, true, {{"tap-2", 1}, {"tap-3", 2}, {"4", 4}}};
    return std::make_unique<GpioWatcher>(settings, run_zero, clock, kernel);
  }

  std::shared_ptr<GpioKernel> kernel = linux_gpio();
  std::shared_ptr<CommandClock> clock = monotonic_clock();
  std::shared_ptr<std::optional<Nanos>> run_zero = std::make_shared<std::optional<Nanos>>();
  test::SimChip chip{"fen", {{}, {"door", "latch"}, {"tap-2", ""}, {"tap-3", ""}, {}, {}}};
};

TEST_F(GuestGpio, AChipIsListedWithItsLinesAndWhoHasThem) {
  const GpioChipFound chip_found = found();
  EXPECT_EQ(chip_found.device, "/dev/" + chip.name());
  EXPECT_EQ(chip_found.label, "fen");
  ASSERT_EQ(chip_found.lines.size(), 6U);
  EXPECT_EQ(chip_found.lines[1].name, "door");
  EXPECT_TRUE(chip_found.lines[1].used);
  EXPECT_EQ(chip_found.lines[1].consumer, "latch");
  EXPECT_EQ(chip_found.lines[3].name, "tap-3");
  EXPECT_FALSE(chip_found.lines[3].used);
}

TEST_F(GuestGpio, EdgesAreStampedByTheMonotonicClockAndNumberedOverAllLines) {
  GpioLines taps = lines({2, 3, 4});
  std::vector<Nanos> late;
  std::uint32_t sequence = 0;
  for (int i = 0; i < 300; ++i) {
    const unsigned line = 2 + static_cast<unsigned>(i) % 3;
    const bool up = (i / 3) % 2 == 0;
    const Nanos before = clock->now();
    chip.pull(line, up);
    const Nanos after = clock->now();
    const std::optional<GpioEdge> edge = taps.next_edge();
    ASSERT_TRUE(edge) << "edge " << i << ": there when the write has returned";
    EXPECT_EQ(edge->line, line);
    EXPECT_EQ(edge->rising, up);
    EXPECT_EQ(edge->sequence, ++sequence);
    EXPECT_GE(edge->at, before);
    EXPECT_LE(edge->at, after);
    late.push_back(edge->at - before);
  }
  EXPECT_FALSE(taps.next_edge());
  std::sort(late.begin(), late.end());
  fmt::print("saw: from writing a pull to its stamp {:.1f} us (median), {:.1f} us (most), 300 edges\n",
             static_cast<double>(late[150]) * 1e-3, static_cast<double>(late.back()) * 1e-3);
}

TEST_F(GuestGpio, ActiveLowTurnsLevelsAndEdgesRound) {
  chip.pull(2, true);
  GpioLines taps = lines({2, 3}, true);
  EXPECT_THAT(taps.active(), ElementsAre(false, true));
  chip.pull(2, false);
  const std::optional<GpioEdge> edge = taps.next_edge();
  ASSERT_TRUE(edge);
  EXPECT_TRUE(edge->rising) << "to active";
  EXPECT_THAT(taps.active(), ElementsAre(true, true));
}

TEST_F(GuestGpio, BiasReachesTheChip) {
  EXPECT_THAT(lines({2, 3}, false, GpioBias::pull_up).active(), ElementsAre(true, true));
  EXPECT_THAT(lines({2, 3}, false, GpioBias::as_is).active(), ElementsAre(true, true));
  EXPECT_THAT(lines({2, 3}, false, GpioBias::pull_down).active(), ElementsAre(false, false));
}

TEST_F(GuestGpio, AWatcherTellsLampsInRunTime) {
  const auto w = watcher();
  chip.pull(3, true);
  w->begin();
  *run_zero = clock->now();
  const auto in_run = [&] { return clock->now() - **run_zero; };
  const Nanos t1 = in_run();
  chip.pull(2, true);
  const Nanos t2 = in_run();
  chip.pull(3, false);
  const Nanos t3 = in_run();
  std::vector<LampEvent> out;
  const Seen seen = w->collect(t3, out);
  EXPECT_EQ(seen.lost, 0U) << seen.lost_why;
  ASSERT_EQ(out.size(), 3U);
  EXPECT_EQ(out[0], (LampEvent{0, 0b10}));
  EXPECT_EQ(out[1].lit, 0b11U);
  EXPECT_GE(out[1].at, t1);
  EXPECT_LE(out[1].at, t2);
  EXPECT_EQ(out[2].lit, 0b01U);
  EXPECT_GE(out[2].at, t2);
  EXPECT_LE(out[2].at, t3);
}

TEST_F(GuestGpio, MoreEdgesThanTheKernelKeepsAreMissedByTheirNumbers) {
  const auto w = watcher();
  w->begin();
  *run_zero = clock->now();
  constexpr unsigned edges = 1500;
  for (unsigned i = 0; i < edges; ++i) chip.pull(2, i % 2 == 0);
  std::vector<LampEvent> out;
  const Seen seen = w->collect(clock->now() - **run_zero, out);
  fmt::print("saw: {} edges unread: {} kept, {} missed\n", edges, out.size() - 1, seen.lost);
  EXPECT_GT(seen.lost, 0U);
  EXPECT_GE(seen.lost, edges - GpioLines::unread_edges);
  EXPECT_THAT(seen.lost_why,
              testing::EndsWith(
                  " edges of the GPIO lines were lost: the kernel had no room for them or did not see them"));
}

TEST_F(GuestGpio, ALineThatSomebodyHasIsNamedWithItsUser) {
  EXPECT_EQ(error_of([&] {
              lines({2, 1});
            }),
            "watching GPIO lines: line 1 'door' of " + chip.name() + " (fen) is in use by 'latch'");
  const GpioLines first = lines({3});
  EXPECT_EQ(error_of([&] {
              lines({2, 3});
            }),
            "watching GPIO lines: line 3 'tap-3' of " + chip.name() + " (fen) is in use by 'tachproof'");
}

TEST_F(GuestGpio, AChipThatIsUnpluggedEndsTheRun) {
  const auto w = watcher();
  w->begin();
  *run_zero = clock->now();
  chip.pull(2, true);
  chip.unplug();
  std::vector<LampEvent> out;
  EXPECT_EQ(error_of([&] {
              for (int i = 1; i <= 20; ++i) w->collect(clock->now() - **run_zero, out);
            }),
            "reading the edges of " + chip.name() + " (fen): No such device");
  EXPECT_THAT(error_of([&] { lines({2}); }), StartsWith("looking for the GPIO chip"));
}

}  // namespace
}  // namespace tachproof
