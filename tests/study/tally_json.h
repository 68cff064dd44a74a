// A share's counts in a file, so that shares counted elsewhere add up to one study.
#pragma once

#include <filesystem>
#include <span>
#include <string>

#include "tests/study/tally.h"

namespace tachproof::study {

struct Share {
  std::uint64_t seed = 1, pairs = 0, part = 1, parts = 1;
  double cpu_s = 0;
  Tally tally;
};

std::string share_json(const Share& share);
// Throws std::runtime_error where the text is none.
Share share_from_json(const std::string& text);

// All shares of one study. Throws std::runtime_error, which says what is wrong: shares of other studies, one
// that is missing or there twice.
Share merged(std::span<const Share> shares);

}  // namespace tachproof::study
