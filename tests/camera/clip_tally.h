// The trials of a study, kept as a line of JSON each as they end, and their table.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "tests/camera/clip_trials.h"

namespace tachproof::test {

nlohmann::json line_of(std::uint64_t seed, int index, const Plan& plan, const Trial& trial);

bool is_wrong(const nlohmann::json& line);  // a pass of a faulty unit, or a fail of a healthy one

// In Markdown; of all lines, whatever their seeds.
std::string table_of(const std::vector<nlohmann::json>& lines);

}  // namespace tachproof::test
