// A finished run as it goes into a history: what its folder says once it was read and counts.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>

#include "bench/record/record.h"

namespace tachproof {

class RunFolder;

struct CountedRun {
  std::string result;         // the bytes of result.json
  std::string result_sha256;  // lower-case hex
  std::string folder;         // absolute
  std::int64_t started_s = 0;
  // Its verdict is that of the folder: no more than undecided where the folder is not as the run left it.
  RunRecord record;
};

// Throws std::runtime_error with a sentence for a folder whose result does not count.
CountedRun counted_run(const std::filesystem::path& run_folder);
// Of a run that this program has just finished: its files are not read back.
CountedRun counted_run(const RunFolder& finished);

// The same of a result that was counted before, as it then was.
CountedRun counted_before(std::string result, const std::string& folder, Verdict verdict, bool complete);

}  // namespace tachproof
