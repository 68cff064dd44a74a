// What `run` and `judge` have in common: the run folder's name, its record, and
// what is printed at the end.
#pragma once

#include <filesystem>
#include <string>

#include "bench/record/run_folder.h"

namespace tachproof {

// A file's own name without folders and ".yaml".
std::string stem(const std::filesystem::path& file);

// Letters, digits, '-', '_' and '.' as they are, '_' for all else: a scenario's
// name and a serial number are the user's and may hold a slash.
std::string fit_for_a_file_name(std::string text);

// "runs/20260131-142501-acceptance-K17"; a number is added to one that is taken.
std::filesystem::path unused_run_folder(const std::string& scenario, const std::string& serial);
// The same beneath another folder.
std::filesystem::path unused_run_folder(const std::filesystem::path& beneath, const std::string& scenario,
                                        const std::string& serial);

// `out`, or a new name under runs/ when it is empty. Throws UsageError when the
// folder cannot be made or is not empty.
RunFolder make_run_folder(const std::string& out, const RunRecord& begun);

// The verdict table and where the report is, or JSON, on stdout. Returns the
// exit status.
int print_outcome(const RunRecord& record, const RunFolder& folder, bool json);

}  // namespace tachproof
