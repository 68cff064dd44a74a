// The cycles of a signal, so that one pass serves every pair of thresholds.
//
// A trigger that turns on at level U and off under level L goes through as many
// cycles as there are rainflow pairs (valley, peak) with valley < L and peak >=
// U (M. Matsuishi, T. Endo 1968; the four-point form of ASTM E1049, from memory):
// a pair is taken out when the signal passes it on either side, and what it
// means to every (L, U) is settled for good.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace tachproof {

// How often each pair was seen: a valley of 0..valleys-1, a peak of first_peak..first_peak+peaks-1.
struct PairCounts {
  std::uint32_t valleys = 0, first_peak = 0, peaks = 0;
  std::span<std::int32_t> counts = {};

  // Any pairs of signals 0..highest.
  static PairCounts any(std::uint32_t highest) { return {highest + 1, 0, highest + 1}; }
  // Of signals that turn outside a band only: never from..to.
  static PairCounts outside(std::uint32_t from, std::uint32_t to, std::uint32_t highest) {
    return {from, to + 1, highest - to};
  }
  std::size_t size() const { return std::size_t{valleys} * peaks; }
  std::size_t index(std::uint32_t valley, std::uint32_t peak) const {
    return std::size_t{valley} * peaks + peak - first_peak;
  }
  std::int32_t of(std::uint32_t valley, std::uint32_t peak) const { return counts[index(valley, peak)]; }
};

class Rainflow {
 public:
  // Signals are whole numbers 0..highest. The signal begins with `start`: 0 for
  // triggers that are off, `highest` for ones that are on. `pairs`: room for those that can be, all 0.
  Rainflow(std::uint32_t highest, std::uint32_t start, const PairCounts& pairs) : pairs_(pairs) {
    stack_.resize(2 * std::size_t{highest} + 6);
    stack_[depth_++] = start;
  }

  void add(std::uint32_t x) {
    const std::uint32_t top = stack_[depth_ - 1];
    if (x == top) return;
    const bool up = x > top;
    if (depth_ > 1 && up == rising_) {
      stack_[depth_ - 1] = x;
    } else {
      stack_[depth_++] = x;
      rising_ = up;
    }
    close(x);
  }

  // The readings first[0], first[stride], ...: at most `most_at_once`. Whether a reading turns is chance,
  // and a processor guesses such a branch wrong half of the time: turning points are found without one.
  static constexpr std::size_t most_at_once = 128;
  void add(const std::uint16_t* first, std::size_t stride, std::size_t count) {
    for (; count > 0 && depth_ == 1; --count, first += stride) add(*first);
    std::array<std::uint32_t, most_at_once + 1> turns;
    std::size_t at = 0;
    std::uint32_t last = stack_[depth_ - 1];
    std::uint32_t rising = rising_ ? 1 : 0;
    turns[0] = last;  // which goes on, or turns
    for (std::size_t i = 0; i < count; ++i) {
      const std::uint32_t x = first[i * stride];
      const std::uint32_t up = x > last ? 1 : 0, down = x < last ? 1 : 0;
      at += rising != 0 ? down : up;
      rising = (rising & (down ^ 1)) | up;
      turns[at] = x;
      last = x;
    }
    stack_[depth_ - 1] = turns[0];
    close(turns[0]);
    for (std::size_t i = 1; i <= at; ++i) turn(turns[i]);
  }

  // The next turning point: on the other side of the last one than the one before.
  void turn(std::uint32_t x) {
    stack_[depth_++] = x;
    rising_ = !rising_;
    close(x);
  }

  // What came so far only gives each trigger its state: it does not count.
  void forget() {
    std::fill(pairs_.counts.begin(), pairs_.counts.end(), 0);
    count_open(-1);
  }
  void finish() { count_open(1); }  // once, at the end

  // After a forget() single pairs may be below 0; what they add up to for two
  // thresholds never is.
  const PairCounts& pairs() const { return pairs_; }

 private:
  // Takes out the pairs that the top of the stack, `x`, passes.
  void close(std::uint32_t x) {
    while (depth_ >= 4) {
      const std::uint32_t* const last = &stack_[depth_ - 1];
      const std::uint32_t low = std::min(last[-2], last[-1]), high = std::max(last[-2], last[-1]);
      const std::uint32_t range = high - low;
      const bool above = distance(x, last[-1]) >= range, below = distance(last[-3], last[-2]) >= range;
      if ((unsigned{above} & unsigned{below}) == 0) return;
      ++pairs_.counts[pairs_.index(low, high)];
      depth_ -= 2;
      stack_[depth_ - 1] = x;
    }
  }
  static std::uint32_t distance(std::uint32_t a, std::uint32_t b) { return a > b ? a - b : b - a; }

  // What is still open counts by its rising moves: what is left of a signal
  // widens and then narrows, so each of them is a cycle of its own.
  void count_open(std::int32_t each) {
    for (std::size_t i = 1; i < depth_; ++i)
      if (stack_[i] > stack_[i - 1]) pairs_.counts[pairs_.index(stack_[i - 1], stack_[i])] += each;
  }

  PairCounts pairs_;
  std::vector<std::uint32_t> stack_;  // turning points that are still open
  std::size_t depth_ = 0;
  bool rising_ = false;
};

}  // namespace tachproof
