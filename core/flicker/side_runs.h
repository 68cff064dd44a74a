// Readings far from the mean, for triggers whose thresholds lie on both sides of it.
//
// Where every low threshold is below a band of levels and every high one above it, readings inside the
// band change no trigger, and of readings that stay on one side only the furthest counts. So a train is
// its runs: the furthest level above, then the furthest below, and so on. They are made without branches,
// which a processor would guess wrong half of the time, and the trains get them by the hundred.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "core/flicker/place_loops.h"
#include "core/flicker/rainflow.h"

namespace tachproof::flicker {

class SideRuns {
 public:
  // Levels up to `below` are on one side, higher ones on the other; `highest` is the highest of them. Lanes
  // begin as they do in the trains.
  SideRuns(std::size_t below, std::size_t highest) : middle_(2 * static_cast<std::int32_t>(below) + 1) {
    for (std::size_t l = 0; l < lanes; ++l) runs_[l * room] = off_middle(starts_high(l) ? highest : 0);
  }
  // What a trigger was before its train began is not known: half were on.
  static bool starts_high(std::size_t lane) { return lane % 2 != 0; }

  // A reading outside the band. At most a block's of a lane between two make_room().
  void add(std::size_t lane, std::uint16_t level) {
    const std::int32_t x = off_middle(level);
    std::int32_t* const run = &runs_[lane * room + last_[lane]];
    const std::int32_t flip = x >> 31;  // on the low side, numbers upside down
    const std::uint32_t begins = static_cast<std::uint32_t>(x ^ *run) >> 31;
    run[begins] = std::max(x ^ flip, *run ^ flip) ^ flip;
    last_[lane] += begins;
  }

  // Gives the finished runs to the trains where there may be no room for another block's.
  void make_room(std::vector<Rainflow>& trains) {
    if (*std::max_element(last_.begin(), last_.end()) + block >= room) hand_over(trains);
  }
  // All of them, the last one as far as it has come.
  void hand_over(std::vector<Rainflow>& trains) {
    for (std::size_t l = 0; l < lanes; ++l) {
      std::int32_t* const first = &runs_[l * room];
      const auto level = [&](std::size_t i) { return static_cast<std::uint32_t>(first[i] + middle_) / 2; };
      trains[l].add(level(0));
      for (std::size_t i = 1; i <= last_[l]; ++i) i == 1 ? trains[l].add(level(1)) : trains[l].turn(level(i));
      first[0] = first[last_[l]];
      last_[l] = 0;
    }
  }

 private:
  // In half levels; never 0, and its sign is the side.
  std::int32_t off_middle(std::size_t level) const { return 2 * static_cast<std::int32_t>(level) - middle_; }

  static constexpr std::size_t room = 256;
  std::int32_t middle_;
  std::array<std::int32_t, lanes * room> runs_{};
  std::array<std::uint32_t, lanes> last_{};
};

}  // namespace tachproof::flicker
