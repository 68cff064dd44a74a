// Of an undecided run: what the evidence lacks, and how to get it.
#pragma once

#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/result.h"

namespace tachproof {

// Sentences, the most important first; empty for a run that passes or fails.
std::vector<std::string> missing_evidence(const Gauge& gauge, const RunResult& result);

}  // namespace tachproof
