// The vector loops of a flicker simulation: one block of sixteen trains' readings at one place. With every
// set of instructions the same bits come out.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

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
  std::vector<float> pattern;  // of the firing, in rpm of a reading: [pulse of the cycle][lane]
  std::size_t pulse = 0;       // of the cycle, at the block's start
};

// Edges of one block, and those so many steps before that a reading averages over.
struct EdgePair {
  const float* now;
  const float* before;
};

// One block's readings as level numbers. `fresh`: normals of the wander; `speeds` has the wander of the block
// before in its first half, and gets this one's.
void levels_of(PlaceLoop& place, EdgePair edges, const float* fresh, float* speeds, std::uint16_t* out,
               Instructions with);
// Readings of edges alone, whose differences are given: their level numbers.
void levels_of_some(const PlaceLoop& place, const float* differences, std::size_t count, std::uint16_t* out,
                    Instructions with);

// Which readings of a block lie far off: bit s of words[w][half][lane] is step 64 w + 32 half + s.
using FarSteps = std::array<std::array<std::array<std::uint32_t, lanes>, 2>, block / 64>;
void outside_of(const std::uint16_t* levels, std::uint16_t from, std::uint16_t to, FarSteps& out,
                Instructions with);  // of levels outside from..to
void far_edges_of(EdgePair edges, float quiet, FarSteps& out,
                  Instructions with);  // of edge differences further from 0 than `quiet`

}  // namespace tachproof::flicker
