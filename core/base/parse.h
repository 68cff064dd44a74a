// Text that is a number, and nothing else.
#pragma once

#include <charconv>
#include <optional>
#include <string_view>

namespace tachproof {

// All of the text, without blanks, sign '+' or locale; nothing when it is no number or does
// not fit. Floating-point numbers may be infinite or NaN where the text says so: see to it.
template <class Number>
std::optional<Number> parse_number(std::string_view text) {
  Number value{};
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

}  // namespace tachproof
