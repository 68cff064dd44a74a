// Seeded random numbers that are the same on every machine.
//
// xoshiro256++ (D. Blackman, S. Vigna, ACM TOMS 47 (2021) 36), its state filled
// by SplitMix64 as its authors advise. Normal deviates by inversion, one
// number of the generator each, so that a stream never gets out of step.
// Only IEEE additions, multiplications, divisions and square roots are used.
#pragma once

#include <array>
#include <cstdint>

namespace tachproof {

// SplitMix64: the next number; `state` moves on.
std::uint64_t split_mix(std::uint64_t& state);

class Random {
 public:
  // Streams of one seed are independent of each other for every purpose here.
  explicit Random(std::uint64_t seed, std::uint64_t stream = 0);
  explicit Random(const std::array<std::uint64_t, 4>& state) : state_(state) {}  // not all zero

  std::uint64_t bits();
  double uniform();  // 0 < u < 1, 52 bits
  double normal();   // mean 0, standard deviation 1

 private:
  std::array<std::uint64_t, 4> state_;
};

// The x for which a standard normal deviate is below x with probability p,
// 0 < p < 1. Algorithm AS 241, PPND16 (M. J. Wichura, Appl. Statist. 37 (1988)
// 477-484): about 16 digits.
double normal_quantile(double p);

}  // namespace tachproof
