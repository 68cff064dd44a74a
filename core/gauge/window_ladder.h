// Which window a gauge shows, for very many rpm of one gauge.
#pragma once

#include <cstddef>
#include <vector>

#include "core/gauge/gauge.h"

namespace tachproof {

// The window after `rpm` has been believed, coming from window `from`: next_window, whatever tells where a
// boundary is passed on the way up and on the way down.
template <class Rising, class Falling>
std::size_t window_after(std::size_t windows, std::size_t from, double rpm, Rising rising, Falling falling) {
  std::size_t at = from;
  while (at + 1 < windows && rpm >= rising(at + 1)) ++at;
  while (at > 0 && rpm < falling(at)) --at;
  return at;
}

class WindowLadder {
 public:
  explicit WindowLadder(const Gauge& gauge) : rising_(1, 0.0), falling_(1, 0.0) {
    for (std::size_t b = 1; b < gauge.windows.size(); ++b) {
      rising_.push_back(gauge.rising_rpm(b));
      falling_.push_back(gauge.falling_rpm(b));
    }
  }

  // As next_window.
  std::size_t next(std::size_t from, double rpm) const {
    return window_after(
        rising_.size(), from, rpm, [&](std::size_t b) { return rising_[b]; },
        [&](std::size_t b) { return falling_[b]; });
  }

 private:
  std::vector<double> rising_, falling_;  // of each window's foot; the lowest has none
};

}  // namespace tachproof
