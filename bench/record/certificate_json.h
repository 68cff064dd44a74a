// What result.json keeps of the certificate and of the report's identity.
#pragma once

#include <nlohmann/json.hpp>

#include "bench/record/record.h"

namespace tachproof {

nlohmann::ordered_json certificate_to_json(const std::optional<Certificate>& certificate);
std::optional<Certificate> certificate_from_json(const nlohmann::ordered_json& json);

nlohmann::ordered_json identity_to_json(const RunRecord& record);
void identity_from_json(const nlohmann::ordered_json& json, RunRecord& record);

}  // namespace tachproof
