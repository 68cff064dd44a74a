// Looks for the causes of runs: of one that has just ended, and of those that are stored.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "bench/record/record.h"
#include "core/cause/diagnosis.h"

namespace tachproof {

// The gauge files of a folder, by name, but for the one of these bytes; what is no sound gauge file is
// passed over. At most a few dozen are read.
std::vector<OtherGauge> gauges_beside(const std::filesystem::path& gauge_file, const std::string& but_sha256);

// At the end of a run: fills record.causes from what the judge was told. Gauge files beside
// `gauge_file` are among the candidates. A run that passes costs nothing.
void find_causes(RunRecord& record, const EvidenceLog& evidence, const std::filesystem::path& gauge_file);

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
