// What result.json states of a run and no evidence can show, held against what else the folder says of it:
// the first line of the journal, written before anything was played, and the copies of the input files.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/record/folder_format.h"
#include "bench/record/run_folder.h"

namespace tachproof {

// The name of the recording that was judged; empty: something was played.
std::string kept_recording(const RunRecord& stored);
// The rig file that was kept; its unit's own file is not loaded. The regions of a camera are those that were
// kept. Throws FileErrors.
RigFile kept_rig(const std::filesystem::path& folder);
// The channels of the gauge that the rig of the run sees, by its files alone. Throws FileErrors.
Channels kept_wires(const std::filesystem::path& folder, const Gauge& gauge);

// A sentence for every contradiction.
std::vector<std::string> contradictions(const std::filesystem::path& folder, const RunRecord& stored,
                                        const Journal& journal);

}  // namespace tachproof
