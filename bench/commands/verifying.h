// This program as the one that verifies.
#pragma once

#include <optional>
#include <string>

#include "bench/commands/version.h"
#include "bench/reports/run_report.h"
#include "bench/run/verify.h"

namespace tachproof {

// `key`: the shop's public one; empty: none.
inline VerifyBy this_program(const std::string& key = "") {
  return {run_pages, std::string(tool_version),
          key.empty() ? std::nullopt : std::optional<std::filesystem::path>(key)};
}

}  // namespace tachproof
