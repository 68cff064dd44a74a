// A recorded tach signal as noise: its edges' deviations from even spacing.
#pragma once

#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace tachproof {

// Either the deviations (in pulse periods, the first 0, one for each interval,
// so that the last edge closes the ring), or a sentence "found; allowed".
//
// The file is text: the time of one edge in seconds on each line, increasing,
// after an optional header line; what follows a comma is ignored, and so are
// empty lines. 3 to 1,000,000 edges of a steady speed.
using Replay = std::variant<std::vector<double>, std::string>;
Replay replay_of(std::string_view text);

// The deviations of at least 3 increasing edge times in seconds.
std::vector<double> deviations_of(const std::vector<double>& edges);

}  // namespace tachproof
