// How fast an engine may turn here.
#pragma once

#include <algorithm>
#include <cmath>

namespace tachproof {

inline constexpr double max_rpm = 20'000;

// As finely as files and reports write it.
inline double hundredths(double rpm) { return std::round(rpm * 100) / 100; }

// Between two pulses; of an engine that hardly turns, as at 1 rpm.
inline double pulse_period_s(double pulses_per_rev, double rpm) {
  return 60 / (pulses_per_rev * std::max(rpm, 1.0));
}

}  // namespace tachproof
