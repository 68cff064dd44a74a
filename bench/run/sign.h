// The signature beside SHA256SUMS, of a run's folder or a suite's.
#pragma once

#include <filesystem>
#include <optional>

#include "bench/run/verify.h"

namespace tachproof {

// Adds what there is to say of it. True: it is there, and the key's.
bool check_signature(Verification& v, const std::filesystem::path& folder,
                     const std::optional<std::filesystem::path>& key);

}  // namespace tachproof
