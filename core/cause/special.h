// Hypotheses that are no change of settings: spells in which the unit failed, a lamp that comes
// and goes, a reading that is slow, smoothed or noisy. Each is built from the evidence, and says of
// which part of it nothing can be said.
#pragma once

#include <vector>

#include "core/cause/hypothesis.h"

namespace tachproof {

std::vector<Hypothesis> special_hypotheses(const Court& court);

}  // namespace tachproof
