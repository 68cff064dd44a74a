// A copy of a rig file, away from the gauge file that its `unit:` names.
#pragma once

#include <filesystem>

#include "bench/files/files.h"

namespace tachproof {

class ErrorList;
struct YamlNode;

// As load_rig; `unit_path` says which file was named, and nothing of it is loaded. Throws FileErrors.
RigFile load_rig_alone(const std::filesystem::path& file);
RigFile read_rig_alone(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors);

}  // namespace tachproof
