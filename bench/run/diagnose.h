// Looks for the causes of stored runs; find_causes.h is for one that has just ended.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "bench/run/find_causes.h"
#include "core/cause/diagnosis.h"

namespace tachproof {

// Of stored runs of one unit: the evidence is read once, and judged again from memory.
// Throws CannotJudgeAgain, and std::runtime_error for what is no run folder or for runs of
// different settings; each with a sentence. What the folders keep as candidates is tried beside `others`.
struct StoredDiagnosis {
  Gauge gauge;
  Diagnosis diagnosis;
  Verdict verdict = Verdict::undecided;  // the worst of the runs
};
StoredDiagnosis diagnose_folders(const std::vector<std::filesystem::path>& folders,
                                 const std::vector<OtherGauge>& others);

// The scenario file that tells the causes apart; empty where no rpm does.
std::string next_scenario(const Gauge& gauge, const Diagnosis& diagnosis);

}  // namespace tachproof
