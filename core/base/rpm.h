// How fast an engine may turn here.
#pragma once

#include <cmath>

namespace tachproof {

inline constexpr double max_rpm = 20'000;

// As finely as files and reports write it.
inline double hundredths(double rpm) { return std::round(rpm * 100) / 100; }

}  // namespace tachproof
