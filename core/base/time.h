// Time in Tachproof: whole nanoseconds from the run's start.
//
// 64 bits of nanoseconds last 292 years, and every instant that two parts of
// the program compare is one of these, so that equal means equal.
#pragma once

#include <cmath>
#include <cstdint>

namespace tachproof {

using Nanos = std::int64_t;

inline constexpr Nanos ns_per_us = 1'000;
inline constexpr Nanos ns_per_ms = 1'000'000;
inline constexpr Nanos ns_per_s = 1'000'000'000;

constexpr double to_seconds(Nanos t) { return static_cast<double>(t) * 1e-9; }
constexpr double to_ms(Nanos t) { return static_cast<double>(t) * 1e-6; }

// The nearest whole nanosecond. `s` must be finite and below 9e9.
inline Nanos from_seconds(double s) { return std::llround(s * 1e9); }

}  // namespace tachproof
