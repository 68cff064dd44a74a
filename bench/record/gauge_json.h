// The gauge's settings inside result.json: a stored run says itself what was
// demanded of the unit. Channels are named by their number, lamps in order.
#pragma once

#include <nlohmann/json.hpp>

#include "core/gauge/gauge.h"

namespace tachproof {

nlohmann::ordered_json settings_to_json(const Gauge& gauge);
// Throws nlohmann::json::exception or std::runtime_error.
Gauge settings_from_json(const nlohmann::ordered_json& settings);

}  // namespace tachproof
