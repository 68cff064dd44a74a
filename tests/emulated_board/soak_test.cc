// A long run at the highest rpm with busy inputs: nothing is lost, nothing
// piles up. TACHPROOF_SOAK_S has its length in seconds; 25 otherwise.

#include <gtest/gtest.h>

#include <unistd.h>
#include <array>
#include <chrono>
#include <cstdlib>
#include <deque>
#include <fstream>
#include <iostream>

#include "bench/rigs/board/board_link.h"
#include "core/signal/pulse_train.h"
#include "tests/emulated_board/bench_with_board.h"

namespace tachproof {
namespace {

// Eight lamps that change all the time: one at a time or several at once, as
// fast as every 0.3 ms and 600 times a second on average.
class BusyLamps : public WiredUnit {
 public:
  void run(std::span<const Nanos>, Nanos until, std::vector<PinLevels>& out) override {
    while (next_ <= until) {
      random_ = random_ * 6364136223846793005u + 1442695040888963407u;  // Knuth, MMIX
      levels_ = static_cast<std::uint8_t>(levels_ ^ ((random_ >> 40 & 0xff) | 1));
      out.push_back({cycles_of(next_), levels_});
      next_ += 300 * ns_per_us + static_cast<Nanos>(random_ >> 44) % (2'700 * ns_per_us);
    }
  }

 private:
  Nanos next_ = ns_per_ms;
  std::uint64_t random_ = 2026;
  std::uint8_t levels_ = 0;
};

std::size_t resident_kb() {
  std::size_t size = 0, resident = 0;
  std::ifstream("/proc/self/statm") >> size >> resident;
  return resident * static_cast<std::size_t>(sysconf(_SC_PAGESIZE)) / 1024;
}

class Soak {
 public:
  Soak(const Profile& profile, double pulses_per_rev)
      : bench_(settings(), std::make_unique<BusyLamps>()), train_(profile, pulses_per_rev) {}

  void run(Nanos until) {
    const auto begun = std::chrono::steady_clock::now();
    bench_.rig().source->begin();
    bench_.rig().watcher->begin();
    for (Nanos played = 0; played < until; played += stretch) {
      play(played + stretch);
      if (played > ahead) collect(played - ahead);
      compare_edges();
      if (played >= until / 10 && settled_kb_ == 0) settled_kb_ = resident_kb();
    }
    collect(until);
    bench_.rig().source->end();
    bench_.rig().watcher->end();
    compare_edges();
    wall_s_ = std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count();
  }

  std::string describe() {
    return std::to_string(edges_) + " intervals, " + std::to_string(stamps_) + " stamps, " +
           std::to_string(bench_.board().bytes_overrun()) + " bytes overrun, " + bench_.board().complaints();
  }

  void expect_nothing_lost(Nanos until) {
    EXPECT_EQ(edges_, pulses_);
    EXPECT_TRUE(commanded_.empty());
    EXPECT_EQ(wrong_edges_, 0u);
    EXPECT_EQ(lost_, 0u);
    EXPECT_EQ(wrong_stamps_, 0u);
    EXPECT_EQ(stamps_, changes_);
    EXPECT_GT(stamps_, static_cast<std::uint64_t>(to_seconds(until) * 500));
    const std::size_t now_kb = resident_kb();
#ifndef __SANITIZE_ADDRESS__  // which keeps what is freed for a while
    EXPECT_LT(now_kb, settled_kb_ + 8 * 1024);
#endif
    std::cout << edges_ << " intervals, " << stamps_ << " stamps, late by " << to_us(least_) << " to "
              << to_us(most_) << " us after the correction; resident " << settled_kb_ << " kB after a tenth, "
              << now_kb << " kB at the end; " << to_seconds(until) / wall_s_ << " times real time\n";
  }

 private:
  static constexpr Nanos stretch = 50 * ns_per_ms, ahead = 250 * ns_per_ms;
  static constexpr Nanos stamp_spread = 17 * ns_per_us;  // as the board says of itself
  static double to_us(Nanos t) { return static_cast<double>(t) / 1e3; }

  static BoardSettings settings() {
    BoardSettings out;
    for (unsigned i = 0; i < 8; ++i) out.wires.push_back({"in" + std::to_string(i), Channels{1} << i});
    return out;
  }

  void play(Nanos until) {
    std::array<Nanos, 4096> chunk;
    while (!train_ended_ && (pulses_ahead_.empty() || pulses_ahead_.back() <= until)) {
      const std::size_t n = train_.next(chunk);
      train_ended_ = n == 0;
      pulses_ahead_.insert(pulses_ahead_.end(), chunk.begin(), chunk.begin() + n);
    }
    const auto end = std::upper_bound(pulses_ahead_.begin(), pulses_ahead_.end(), until);
    const std::vector<Nanos> block(pulses_ahead_.begin(), end);
    pulses_ahead_.erase(pulses_ahead_.begin(), end);
    commanded_.insert(commanded_.end(), block.begin(), block.end());
    pulses_ += block.size();
    bench_.rig().source->play({block, until});
  }

  // Every edge on the pin at its tick of the run, counted from the first.
  void compare_edges() {
    for (const PinEdge& edge : bench_.board().tach_edges()) {
      if (!edge.rising) continue;
      const Nanos tick = (commanded_.front() + 250) / 500;
      commanded_.pop_front();
      if (edges_++ == 0) zero_ = edge.at - static_cast<Cycles>(tick) * 8;
      if (edge.at != zero_ + static_cast<Cycles>(tick) * 8) ++wrong_edges_;
    }
    const auto& moved = bench_.board().input_changes();
    pin_changes_.insert(pin_changes_.end(), moved.begin(), moved.end());
    bench_.board().forget_edges();
  }

  // Every change on the pins stamped with its levels, within what the board admits.
  void collect(Nanos until) {
    compare_edges();
    std::vector<LampEvent> events;
    lost_ += bench_.rig().watcher->collect(until, events).lost;
    compare_edges();
    for (const LampEvent& event : events) {
      if (event.at == 0) continue;  // what the lamps were at the start
      while (!pin_changes_.empty() && pin_changes_.front().at <= zero_) pin_changes_.pop_front();
      if (pin_changes_.empty()) {
        ++wrong_stamps_;
        continue;
      }
      const PinLevels change = pin_changes_.front();
      pin_changes_.pop_front();
      const Nanos late = event.at - nanos_of(change.at - zero_);
      least_ = std::min(least_, late);
      most_ = std::max(most_, late);
      ++stamps_;
      ++changes_;
      if (event.lit != change.levels || late < -ns_per_us || late > stamp_spread + link_tick_ns)
        ++wrong_stamps_;
    }
    while (!pin_changes_.empty() &&
           pin_changes_.front().at + cycles_of(20 * ns_per_us) < zero_ + cycles_of(until)) {
      if (pin_changes_.front().at > zero_) ++changes_;
      pin_changes_.pop_front();
    }
  }

  BenchWithBoard bench_;
  PulseTrain train_;
  bool train_ended_ = false;
  std::vector<Nanos> pulses_ahead_;
  std::deque<Nanos> commanded_;        // no edge on the pin yet
  std::deque<PinLevels> pin_changes_;  // no stamp yet
  Cycles zero_ = 0;
  std::uint64_t pulses_ = 0, edges_ = 0, wrong_edges_ = 0;
  std::uint64_t stamps_ = 0, changes_ = 0, wrong_stamps_ = 0, lost_ = 0;
  Nanos least_ = ns_per_s, most_ = -ns_per_s;
  std::size_t settled_kb_ = 0;
  double wall_s_ = 1;
};

TEST(Soak, LosesNoIntervalAndNoStamp) {
  const char* asked = std::getenv("TACHPROOF_SOAK_S");
  const Nanos lasts = (asked != nullptr ? std::atoi(asked) : 25) * ns_per_s;
  const std::vector<Step> steps{Hold{20'000, lasts}};
  const Profile profile(steps);
  Soak soak(profile, 4);
  try {
    soak.run(lasts);
  } catch (const RigError& e) {
    FAIL() << e.what() << "; " << soak.describe();
  }
  soak.expect_nothing_lost(lasts);
}

}  // namespace
}  // namespace tachproof
