// SHA256SUMS of a suite: as a run's, and of files in the folders of its runs too ("low/slow/SHA256SUMS");
// never outside of its own folder.
#pragma once

#include <string_view>
#include <vector>

#include "bench/record/checksums.h"

namespace tachproof {

// Throws std::runtime_error with a sentence when a line is not as written.
std::vector<FileSum> parse_suite_checksums(std::string_view text);

}  // namespace tachproof
