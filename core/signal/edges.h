// The inner loops of the pulse train: a block of edge instants by one formula.
//
// The same bits whatever the instruction set: only additions, multiplications,
// divisions, square roots and a rounding to nearest, each correctly rounded by
// IEEE 754, and no fused multiply-add.
#pragma once

#include <cstddef>
#include <span>

#include "core/base/time.h"
#include "core/signal/profile.h"

namespace tachproof {

// Which instructions do it. On other processors than x86-64 there is only
// `baseline`, which is what the compiler makes of the loop.
enum class Instructions { baseline, avx2, avx512 };
bool available(Instructions set);
Instructions best_instructions();

// Edge m is `first` + m periods.
void constant_edges(const Instant& first, double period_ns, std::span<Nanos> out,
                    Instructions with = best_instructions());

// Edges around `slow`, the one where the speed is lowest: hz there, growing
// away from it by hz_per_s > 0. `slow` is the first of them when the speed
// rises and the last when it falls, so no formula ever subtracts nearly equal
// numbers. Edge i from it is 2 i / (hz + sqrt(hz^2 + 2 hz_per_s i)) s away.
void ramp_edges(const Instant& slow, double hz, double hz_per_s, bool rising, std::span<Nanos> out,
                Instructions with = best_instructions());

// Some whole periods of a sine, or a part of one, from its start.
struct SineStretch {
  double mean_hz = 0, swing_hz = 0;
  double period_s = 0;
  double lasts_s = 0;
};
// Edge m is where the phase is `phase` + m pulses, from `start` on. `near_s`: about where, in seconds from
// the start; moved there by one step of Newton's method in its second order, whose error is of third order in
// its length. Whether all of them moved by less than 1e-7 of a period.
bool sine_edges(const SineStretch& sine, const Instant& start, double phase, std::span<double> near_s,
                std::span<Nanos> out, Instructions with = best_instructions());

// No edge of one call may be further than this from the anchor.
inline constexpr double edges_reach_ns = 0x1p50;  // 13 days
inline constexpr std::size_t edges_block = 1024;  // at most, in one call

}  // namespace tachproof
