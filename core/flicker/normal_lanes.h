// Normal deviates in bulk, sixteen independent streams side by side.
//
// Each lane is an xoshiro128++ generator (D. Blackman, S. Vigna, ACM TOMS 47
// (2021) 36) whose numbers go in pairs through G. E. P. Box and M. E. Muller's
// transform (Ann. Math. Stat. 29 (1958) 610), in single precision. The same
// bits whatever the instruction set. Deviates reach 6.6; relative errors are
// below 1e-6.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "core/signal/edges.h"

namespace tachproof {

class NormalLanes {
 public:
  static constexpr std::size_t lanes = 16;

  NormalLanes(std::uint64_t seed, std::uint64_t stream, Instructions with = best_instructions());
  // out[step * lanes + lane]; a whole, even number of steps.
  void fill(std::span<float> out);

  using State = std::array<std::array<std::uint32_t, lanes>, 4>;

 private:
  State state_;
  Instructions with_;
};

}  // namespace tachproof
