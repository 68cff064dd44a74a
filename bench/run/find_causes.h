// At the end of a run: what explains it.
#pragma once

#include <filesystem>

#include "bench/record/record.h"
#include "core/cause/evidence_log.h"

namespace tachproof {

// Fills record.causes from what the judge was told. Gauge files beside `gauge_file` are among the
// candidates. A run that passes costs nothing.
void find_causes(RunRecord& record, const EvidenceLog& evidence, const std::filesystem::path& gauge_file);

}  // namespace tachproof
