// SHA256SUMS: what every file of a finished run was, in the shape that
// `sha256sum -c` reads: 64 hex digits, two blanks, the file's name.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace tachproof {

inline constexpr const char* checksums_name = "SHA256SUMS";
inline constexpr const char* signature_name = "SHA256SUMS.sig";

struct FileSum {
  std::string file;    // its name in the run folder
  std::string sha256;  // lower-case hex
  bool operator==(const FileSum&) const = default;
};

// The sums of those of `names` that are in the folder, in that order.
std::vector<FileSum> sums_of(const std::filesystem::path& folder, const std::vector<std::string>& names);

std::string checksums_text(const std::vector<FileSum>& sums);
// Throws std::runtime_error with a sentence when a line is not as written.
std::vector<FileSum> parse_checksums(std::string_view text);

}  // namespace tachproof
