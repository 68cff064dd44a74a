// What the folder of a run may hold that somebody else has made: files of its own. Nothing in it
// leads elsewhere, so whoever reads or verifies it opens nothing else.
#pragma once

#include <filesystem>
#include <string_view>

namespace tachproof {

// Throws std::runtime_error with a sentence where a link, a pipe, a device or a socket lies in the
// folder.
void require_plain_entries(const std::filesystem::path& folder);

// The name of a file in a folder, and no way out of it.
bool is_plain_name(std::string_view name);
// A relative path without "..".
bool stays_inside(const std::filesystem::path& below);

}  // namespace tachproof
