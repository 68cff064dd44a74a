// Which window a gauge shows, for very many rpm of one gauge.
#pragma once

#include <cstddef>
#include <vector>

#include "core/gauge/gauge.h"

namespace tachproof {

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
    std::size_t at = from;
    while (at + 1 < rising_.size() && rpm >= rising_[at + 1]) ++at;
    while (at > 0 && rpm < falling_[at]) --at;
    return at;
  }

 private:
  std::vector<double> rising_, falling_;  // of each window's foot; the lowest has none
};

}  // namespace tachproof
