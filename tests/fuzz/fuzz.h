// What fuzz targets share: a condition that must hold, and text that must be fit to be shown.
#pragma once

#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <string_view>

#include "core/base/foreign_text.h"

namespace tachproof::fuzz {

inline void require(bool holds) {
  if (!holds) std::abort();
}

inline std::string_view text_of(const std::uint8_t* data, std::size_t size) {
  return {reinterpret_cast<const char*>(data), size};
}

// One line that a terminal prints as it is.
inline void require_fit_for_a_line(std::string_view text) { require(shown(text) == text); }

// Lines that a terminal prints as they are.
inline void require_fit_for_a_terminal(std::string text) {
  for (char& c : text)
    if (c == '\n') c = ' ';
  require_fit_for_a_line(text);
}

// A file with these bytes, the same one again and again.
inline std::filesystem::path file_with(std::string_view bytes, const char* name) {
  static const std::filesystem::path folder = [] {
    std::string made = (std::filesystem::temp_directory_path() / "tachproof-fuzz-XXXXXX").string();
    require(::mkdtemp(made.data()) != nullptr);
    static const struct Gone {
      std::filesystem::path path;
      ~Gone() {
        std::error_code ignored;
        std::filesystem::remove_all(path, ignored);
      }
    } gone{made};
    return gone.path;
  }();
  std::ofstream(folder / name, std::ios::binary | std::ios::trunc)
      .write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  return folder / name;
}

}  // namespace tachproof::fuzz
