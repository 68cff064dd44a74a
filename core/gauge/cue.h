// Lamps and colours as bits, and what they show together.
#pragma once

#include <cstddef>
#include <cstdint>

namespace tachproof {

// One bit per (lamp, colour) pair: lamps from left to right, each lamp's
// colours in file order, the first pair in bit 0. At most 64 pairs.
using Channels = std::uint64_t;
inline constexpr std::size_t max_channels = 64;

// What all lamps show together. A channel is in one of the two sets or dark.
struct Cue {
  Channels steady = 0;
  Channels blinking = 0;
  bool operator==(const Cue&) const = default;
};

}  // namespace tachproof
