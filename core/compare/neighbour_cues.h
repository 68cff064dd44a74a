// Where a window showed what its neighbour shows.
#pragma once

#include <cstddef>

#include "core/compare/comparison.h"

namespace tachproof {

// What was shown in the window differs from its own cue, and all that differs is
// as in the neighbour's cue.
bool looks_like(const ComparedRun& run, std::size_t window, std::size_t neighbour);

// Some move across this boundary did not come, or not when it had to.
bool was_missed(const ComparedRun& run, std::size_t boundary);

}  // namespace tachproof
