// The cycles of a signal, so that one pass serves every pair of thresholds.
//
// A trigger that turns on at level U and off under level L goes through as many
// cycles as there are rainflow pairs (valley, peak) with valley < L and peak >=
// U (M. Matsuishi, T. Endo 1968; the four-point form of ASTM E1049, from memory):
// a pair is taken out when the signal passes it on either side, and what it
// means to every (L, U) is settled for good.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace tachproof {

class Rainflow {
 public:
  // Signals are whole numbers 0..highest. The signal begins with `start`: 0 for
  // triggers that are off, `highest` for ones that are on.
  Rainflow(std::uint32_t highest, std::uint32_t start) : size_(highest + 1), pairs_(size_ * size_, 0) {
    stack_.resize(2 * size_ + 4);
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
    while (depth_ >= 4) {
      const std::uint32_t* const last = &stack_[depth_ - 1];
      const std::uint32_t b = last[-2];
      const std::uint32_t c = last[-1];
      if (rising_ ? x < b || last[-3] > c : x > b || last[-3] < c) return;
      ++pairs_[rising_ ? c * size_ + b : b * size_ + c];
      depth_ -= 2;
      stack_[depth_ - 1] = x;
    }
  }

  // What came so far only gives each trigger its state: it does not count.
  void forget() {
    std::fill(pairs_.begin(), pairs_.end(), 0);
    count_open(-1);
  }
  void finish() { count_open(1); }  // once, at the end

  // pairs()[valley * (highest + 1) + peak]. After a forget() single pairs may be
  // below 0; what they add up to for two thresholds never is.
  const std::vector<std::int32_t>& pairs() const { return pairs_; }

 private:
  // What is still open counts by its rising moves: what is left of a signal
  // widens and then narrows, so each of them is a cycle of its own.
  void count_open(std::int32_t each) {
    for (std::size_t i = 1; i < depth_; ++i)
      if (stack_[i] > stack_[i - 1]) pairs_[stack_[i - 1] * size_ + stack_[i]] += each;
  }

  std::size_t size_;
  std::vector<std::int32_t> pairs_;
  std::vector<std::uint32_t> stack_;  // turning points that are still open
  std::size_t depth_ = 0;
  bool rising_ = false;
};

}  // namespace tachproof
