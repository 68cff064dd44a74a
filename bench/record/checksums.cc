#include "bench/record/checksums.h"

#include <fmt/format.h>

#include <algorithm>
#include <stdexcept>
#include <system_error>

#include "bench/files/own_files.h"
#include "bench/record/run_folder.h"
#include "bench/record/suite_checksums.h"

namespace tachproof {
namespace {

constexpr std::size_t hex_digits = 64;

enum class SumsOf { run, suite };

// Of this folder, or beneath it; the list speaks of nothing else.
bool is_within(std::string_view name, SumsOf of) {
  if (name.empty()) return false;
  while (!name.empty()) {
    const std::size_t slash = name.find('/');
    const std::string_view part = name.substr(0, slash);
    if (!is_plain_name(part)) return false;
    if (slash == std::string_view::npos) return true;
    if (of == SumsOf::run) return false;
    name.remove_prefix(slash + 1);
  }
  return false;
}

FileSum parse_line(std::string_view line, std::size_t number, SumsOf of) {
  const bool hex = line.size() > hex_digits + 2 &&
                   line.substr(0, hex_digits).find_first_not_of("0123456789abcdef") == std::string_view::npos;
  const std::string_view name = hex ? line.substr(hex_digits + 2) : std::string_view();
  const bool sound = hex && line.substr(hex_digits, 2) == "  " && is_within(name, of);
  if (!sound)
    throw std::runtime_error(
        fmt::format("{} is not as the {} left it: line {} is not a checksum and a file name", checksums_name,
                    of == SumsOf::run ? "run" : "suite", number));
  return {std::string(name), std::string(line.substr(0, hex_digits))};
}

std::vector<FileSum> parse(std::string_view text, SumsOf of) {
  std::vector<FileSum> sums;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    sums.push_back(parse_line(text.substr(0, end), sums.size() + 1, of));
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return sums;
}

}  // namespace

std::vector<FileSum> sums_of(const std::filesystem::path& folder, const std::vector<std::string>& names) {
  std::vector<FileSum> sums;
  std::error_code error;
  for (const std::string& name : names)
    if (std::filesystem::is_regular_file(folder / name, error))
      sums.push_back({name, sha256_of_file(folder / name)});
  return sums;
}

std::string checksums_text(const std::vector<FileSum>& sums) {
  std::string text;
  for (const FileSum& sum : sums) text += sum.sha256 + "  " + sum.file + "\n";
  return text;
}

std::vector<FileSum> parse_checksums(std::string_view text) { return parse(text, SumsOf::run); }

std::vector<FileSum> parse_suite_checksums(std::string_view text) { return parse(text, SumsOf::suite); }

}  // namespace tachproof
