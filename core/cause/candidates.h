// The faults worth judging: those that the numbers of a result, the pictures that were seen, or
// the moves of the lamps point to. Cheap: nothing is judged here.
#pragma once

#include <vector>

#include "core/cause/hypothesis.h"

namespace tachproof {

// Of a unit that acts by `known` so far, with `results` the runs as judged against that. Each candidate
// has a size where its kind has one; most promising first, at most `most`.
std::vector<Fault> candidates(const Court& court, const Hypothesis& known,
                              const std::vector<RunResult>& results, std::size_t most);

}  // namespace tachproof
