#include <cerrno>
#include <cstring>
#include <fstream>
#include <system_error>

#include "bench/files/yaml_tree.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

const std::string text_rule = "a text file in UTF-8 of at most 4 MB";

std::string megabytes(std::uintmax_t bytes) {
  constexpr double mb = 1024.0 * 1024.0;
  return number_text(static_cast<double>(static_cast<std::uint64_t>(static_cast<double>(bytes) / mb * 10)) /
                     10) +
         " MB";
}

}  // namespace

std::optional<std::string> read_file(const std::filesystem::path& file, ErrorList& errors) {
  std::error_code error;
  const auto status = std::filesystem::status(file, error);
  if (!std::filesystem::exists(status)) {
    errors.add({},
               error && error != std::errc::no_such_file_or_directory ? "cannot be read: " + error.message()
                                                                      : "no such file",
               "the path of an existing file, from the folder you are in");
    return std::nullopt;
  }
  if (!std::filesystem::is_regular_file(status)) {
    errors.add({}, std::filesystem::is_directory(status) ? "a folder" : "not a regular file", text_rule);
    return std::nullopt;
  }
  const std::uintmax_t size = std::filesystem::file_size(file, error);
  if (!error && size > max_file_bytes) {
    errors.add({}, "a file of " + megabytes(size), text_rule);
    return std::nullopt;
  }
  std::ifstream in(file, std::ios::binary);
  if (!in) {
    errors.add({}, std::string("cannot be read: ") + std::strerror(errno), text_rule);
    return std::nullopt;
  }
  // The file may have grown since; never more than one byte beyond the cap.
  std::string text(max_file_bytes + 1, '\0');
  in.read(text.data(), static_cast<std::streamsize>(text.size()));
  text.resize(static_cast<std::size_t>(in.gcount()));
  if (in.bad() || text.size() > max_file_bytes) {
    errors.add({}, in.bad() ? "cannot be read to its end" : "a file of more than 4 MB", text_rule);
    return std::nullopt;
  }
  return text;
}

}  // namespace tachproof
