// At the end of a run: what explains it.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "bench/record/folder_format.h"
#include "bench/record/run_folder.h"
#include "core/cause/diagnosis.h"
#include "core/cause/evidence_log.h"

namespace tachproof {

// A gauge file that the unit may run instead, with its bytes.
struct CandidateFile {
  OtherGauge other;
  std::string bytes;
};
// The settings of the unit's accepted run; asked for by a run that failed. Empty: nobody knows of any.
using AcceptedSettings = std::function<std::optional<CandidateFile>()>;

// The gauge files of a folder, by name, but for the one of these bytes; what is no sound gauge file is
// passed over. At most a few dozen are read.
std::vector<CandidateFile> gauges_beside(const std::filesystem::path& gauge_file,
                                         const std::string& but_sha256);

// Fills record.causes from what the judge was told. The accepted settings and the gauge files beside
// `gauge_file` are among the candidates; those that tell are kept in the folder, so that causes_of finds
// the same from it. A run that passes costs nothing.
void find_causes(RunRecord& record, const EvidenceLog& evidence, RunFolder& folder,
                 const std::filesystem::path& gauge_file, const AcceptedSettings& accepted);

// Of a run as it is stored, or as it has been judged again: with these candidates alone.
Causes causes_of(const RunRecord& record, const EvidenceLog& evidence,
                 const std::vector<OtherGauge>& candidates);
// Those that the run folder keeps. Throws FileErrors where one is no sound gauge file, and
// std::runtime_error where one is not among the folder's inputs.
std::vector<OtherGauge> kept_candidates(const std::filesystem::path& folder, const Journal& journal);

}  // namespace tachproof
