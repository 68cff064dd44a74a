// Where a suite keeps the runs of a pair, for those who play it, read it and verify it.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "bench/run/suite.h"

namespace tachproof {

inline constexpr const char* suite_file = "suite.json";

// "low/slow", "low/slow@2".
std::string folder_name(const SuitePair& pair, std::size_t number);
// Whether it is the pair's own, by its name.
bool is_folder_of(const SuitePair& pair, const std::string& folder);
// The pair's own folders that there are, in the order of their numbers.
std::vector<std::string> folders_of(const SuitePair& pair, const std::filesystem::path& suite);
// The run is of these very files, this unit and this version of the program, as far as its folder tells.
bool is_run_of(const RunRecord& run, const SuitePair& pair, const std::string& tool_version);
// Whether a run folder holds copies of all that the pair rests on; a unit's own file it does not.
bool runs_tell_all_inputs(const SuitePair& pair);
// What SHA256SUMS of a suite lists: its own files, and of each run its SHA256SUMS, or of one that was cut
// short what there is.
std::vector<std::string> suite_names(const SuiteRecord& record, const std::filesystem::path& suite);
// suite.json as it is written, nothing compared. Throws std::runtime_error with a sentence.
SuiteRecord read_suite(const std::filesystem::path& folder);
// What the run folder says of an attempt. Undecided, with the reason, where it does not say what suite.json
// says; that is added to `doubts` as well, since an attempt that was tampered with is no attempt that the
// bench could not decide.
Attempt attempt_by_its_folder(const Attempt& told, const SuitePair& pair, const std::string& tool_version,
                              const std::filesystem::path& suite, std::vector<std::string>& doubts);
// Why suite.json cannot be believed, whatever its attempts say: sentences.
std::vector<std::string> suite_doubts(const SuiteRecord& record, const std::filesystem::path& suite);

}  // namespace tachproof
