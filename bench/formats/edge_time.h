// A line of a text file of edge times.
#pragma once

#include <cmath>
#include <optional>
#include <string_view>
#include <system_error>

#include "core/base/parse.h"

namespace tachproof {

inline std::string_view without_blanks(std::string_view text) {
  constexpr std::string_view blanks = " \t\r";
  const std::size_t first = text.find_first_not_of(blanks);
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(blanks) - first + 1);
}

// A finite number; only blanks may stand around it.
inline std::optional<double> number_alone(std::string_view text) {
  const std::optional<double> value = parse_number<double>(without_blanks(text));
  return value && std::isfinite(*value) ? value : std::nullopt;
}

}  // namespace tachproof
