// What a scenario will not decide, as `expect` and `check` say it.
#pragma once

#include <nlohmann/json.hpp>
#include <string>

#include "core/plan/foresight.h"

namespace tachproof {

// The table of thresholds, and below it what to change.
std::string foresight_text(const Gauge& gauge, const Foresight& foresight, int width);

// "thresholds" and "not_visited".
void add_foresight(nlohmann::ordered_json& out, const Gauge& gauge, const Foresight& foresight);

}  // namespace tachproof
