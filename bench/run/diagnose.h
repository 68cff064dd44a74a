// Looks for the causes of stored runs; find_causes.h is for one that has just ended.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "bench/run/find_causes.h"
#include "core/cause/diagnosis.h"

namespace tachproof {

// The gauge files of a folder, by name, but for the one of these bytes; what is no sound gauge file is
// passed over. At most a few dozen are read.
std::vector<OtherGauge> gauges_beside(const std::filesystem::path& gauge_file, const std::string& but_sha256);

// Of stored runs of one unit: the evidence is read once, and judged again from memory.
// Throws CannotJudgeAgain, and std::runtime_error for what is no run folder or for runs of
// different settings; each with a sentence.
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
