// result.json, both ways.
#pragma once

#include <string>

#include "bench/record/record.h"

namespace tachproof {

std::string result_json(const RunRecord& record);  // pretty, ends in a newline

// The record that result_json() wrote. Throws std::runtime_error with a
// sentence when `text` is anything else, however close.
RunRecord record_from_json(const std::string& text);

}  // namespace tachproof
