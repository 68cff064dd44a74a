// Hypotheses that are no change of settings: spells in which the unit failed, a lamp that comes
// and goes, a reading that is slow, smoothed or noisy. Each is built from the evidence, and says of
// which part of it nothing can be said.
//
// Those whose proof lets the lamps change at other instants explain in part what much else
// explains as well: they are asked for apart, and last.
#pragma once

#include <vector>

#include "core/cause/hypothesis.h"

namespace tachproof {

// With one fault more than `known`, whose runs were judged to have `results`.
std::vector<Hypothesis> special_hypotheses(const Court& court, const Hypothesis& known,
                                           const std::vector<RunResult>& results);
std::vector<Hypothesis> loose_hypotheses(const Court& court, const Hypothesis& known,
                                         const std::vector<RunResult>& results);
bool lets_pass(const Hypothesis& hypothesis);  // it is one of the latter

}  // namespace tachproof
