// result.json: written by result_json() of bench/run/run_folder.h, read here.
#pragma once

#include <string>

#include "bench/run/run_folder.h"

namespace tachproof {

// The record that result_json() wrote. Throws std::runtime_error with a
// sentence when `text` is anything else, however close.
RunRecord record_from_json(const std::string& text);

}  // namespace tachproof
