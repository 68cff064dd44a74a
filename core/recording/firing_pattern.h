// The firing pattern of a tach signal: which pulses of the engine cycle come
// early or late, and after how many pulses it repeats.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "core/recording/wander_fit.h"

namespace tachproof {

struct FiringPattern {
  std::vector<double> share;        // of a pulse period, late (+) or early (-), mean zero; empty: none found
  std::vector<Interval> intervals;  // 95 %
};

// Pulses are taken against the mean of the cycle around them, in 16 stretches
// whose scatter says how well the pattern is known. A pattern counts when
// chance would make its like in 1 of 1000 signals. `phase` in s off even
// spacing, one value for each pulse.
FiringPattern find_firing_pattern(std::span<const double> phase, double period_s);

inline constexpr std::size_t longest_cycle = 24;  // pulses

}  // namespace tachproof
