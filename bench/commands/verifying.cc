#include "bench/commands/verifying.h"

#include "bench/commands/version.h"
#include "bench/reports/run_report.h"

namespace tachproof {

VerifyBy this_program(const std::string& key) {
  return {run_pages, std::string(tool_version),
          key.empty() ? std::nullopt : std::optional<std::filesystem::path>(key)};
}

}  // namespace tachproof
