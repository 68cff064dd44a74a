#include "bench/files/own_files.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <stdexcept>
#include <string>
#include <system_error>

#include "bench/files/regular_file.h"
#include "core/base/foreign_text.h"

namespace tachproof {

void require_plain_entries(const std::filesystem::path& folder) {
  std::error_code error;
  for (const auto& entry : std::filesystem::directory_iterator(folder, error))
    if (const std::optional<std::string> odd = odd_kind(entry.path()))
      throw std::runtime_error(fmt::format(
          "{} is {}: the folder of a run or a suite holds only files of its own, so nothing in it "
          "is read; take it away, or put the file itself in its place",
          shown(entry.path().string()), *odd));
}

bool is_plain_name(std::string_view name) {
  return !name.empty() && name != "." && name != ".." && name.find('/') == std::string_view::npos &&
         name.find('\0') == std::string_view::npos;
}

bool stays_inside(const std::filesystem::path& below) {
  if (below.empty() || below.is_absolute()) return false;
  return std::none_of(below.begin(), below.end(), [](const auto& part) { return part == ".."; });
}

}  // namespace tachproof
