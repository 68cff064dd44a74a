// What the program says of a pair, by its public doors: a recording as a file that is opened and judged, a
// run played on a rig whose watcher shows the unit's lines.
#pragma once

#include <filesystem>
#include <string>

#include "core/judge/result.h"
#include "tests/study/pair.h"

namespace tachproof::study {

// `folder` is made, and holds what the program leaves behind. Throws what the program throws.
RunResult judge(const Pair& pair, const std::filesystem::path& folder);

// The same by the program itself, from files: `program judge ...`. The verdict by its exit status.
Verdict judge_by_program(const Pair& pair, const std::filesystem::path& folder, const std::string& program);

// capture.vcd (or .csv), gauge.yaml and wiring.yaml; of a run too, as if somebody had recorded it.
std::filesystem::path write_files(const Pair& pair, const std::filesystem::path& folder, bool csv);

}  // namespace tachproof::study
