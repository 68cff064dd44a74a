// The vector loops of a flicker simulation: one block of sixteen trains' readings at one place. With every
// set of instructions the same bits come out.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "core/flicker/flicker.h"
#include "core/flicker/normal_lanes.h"

namespace tachproof::flicker {

inline constexpr std::size_t lanes = NormalLanes::lanes;
inline constexpr std::size_t block = 128;  // steps; no reading averages over more
inline constexpr std::size_t block_size = block * lanes;

// What the vector loop needs to know of a place, in rpm, and what it keeps.
struct PlaceLoop {
  float edge_gain = 0;  // a reading's rpm for one unit of edge difference
  float kept = 0;       // of the wander from pulse to pulse
  float fresh = 0;      // new wander, rpm
  float per_pulse = 1;  // 1 / averaged
  float per_rpm = 0;    // 1 / the place's rpm
  float per_step = 0;   // 1 / level spacing
  float middle = 0;     // level number of the mean, half a level up for rounding
  float most = 0;       // highest level number
  std::size_t averaged = 1;
  bool wanders = false;
  alignas(64) std::array<float, lanes> wander{};
};

// The level number of a reading that is x rpm off by its edges and the wander.
// Relative to the mean a period is 1 - x / rpm long, so the speed is off by
// x / (1 - x / rpm).
[[gnu::always_inline]] inline std::uint16_t level_of(const PlaceLoop& place, float x) {
  const float level = x / (1 - x * place.per_rpm) * place.per_step + place.middle;
  const float inside = level > 0 ? (level < place.most ? level : place.most) : 0;
  return static_cast<std::uint16_t>(static_cast<std::int32_t>(inside));
}

// One block's readings as level numbers: `edges` are the edge differences over the averaged pulses, `fresh`
// normals of the wander; `speeds` has the wander of the block before in its first half, and gets this one's.
void levels_of(PlaceLoop& place, const float* edges, const float* fresh, float* speeds, std::uint16_t* out,
               Instructions with);
// out[i]: 1 when reading i lies outside from..to, else 0.
void outside_of(const std::uint16_t* levels, std::uint16_t from, std::uint16_t to, std::uint8_t* out,
                Instructions with);
// The same of edge differences further from 0 than `quiet`.
void far_edges_of(const float* edges, float quiet, std::uint8_t* out, Instructions with);

}  // namespace tachproof::flicker
