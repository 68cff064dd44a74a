// Values in and out of JSON: what is not finite is null, and back it is
// `not_measured`; text is always valid UTF-8; instants are seconds that read
// back to the same nanosecond; whole numbers are within what is asked.
#pragma once

#include <cmath>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <string>
#include <string_view>

#include "bench/record/text.h"
#include "core/base/time.h"
#include "core/judge/result.h"

namespace tachproof {

using Json = nlohmann::ordered_json;

// The text of `json`, in one line or indented. Never fails: bytes that are no UTF-8 are shown as
// what they are, and characters that a terminal obeys are escapes, "\u009b".
std::string json_text(const Json& json, int indent = -1);

// What a file of ours may hold. A text beyond that is not even parsed.
inline constexpr std::size_t most_json_depth = 64;
inline constexpr std::size_t most_json_values = 10'000'000;
// Throws std::runtime_error with a sentence: nested too deep, too many values, or no JSON.
Json parse_json(std::string_view text);

inline Json number_to_json(double value) { return std::isfinite(value) ? Json(value) : Json(nullptr); }
inline Json text_to_json(std::string_view text) { return Json(valid_utf8(text)); }

template <class Items, class Function>
Json list_of(const Items& items, Function&& to_json) {
  Json list = Json::array();
  for (const auto& item : items) list.push_back(to_json(item));
  return list;
}

inline double number_from(const Json& object, const char* key) {
  const Json& value = object.at(key);
  return value.is_null() ? not_measured : value.get<double>();
}
inline std::string text_from(const Json& object, const char* key) {
  return object.at(key).get<std::string>();
}
// The name of a file in the folder that is spoken of; a path below that folder. Anything else is a
// std::runtime_error with a sentence.
std::string own_file_from(const Json& object, const char* key);
std::string path_below_from(const Json& value);
inline std::uint64_t count_from(const Json& object, const char* key) {
  const Json& value = object.at(key);
  if (!value.is_number_unsigned()) throw std::runtime_error(std::string(key) + " is not a count");
  return value.get<std::uint64_t>();
}
// A whole number from `lowest` to `highest`: 1e30 or 2.5 in its place would be undefined behaviour.
inline std::int64_t whole_from(const Json& value, const char* what, std::int64_t lowest,
                               std::int64_t highest) {
  const bool fits = value.is_number_unsigned()
                        ? highest >= 0 && value.get<std::uint64_t>() <= static_cast<std::uint64_t>(highest) &&
                              (lowest < 0 || value.get<std::uint64_t>() >= static_cast<std::uint64_t>(lowest))
                        : value.is_number_integer() && value.get<std::int64_t>() >= lowest &&
                              value.get<std::int64_t>() <= highest;
  if (!fits)
    throw std::runtime_error(std::string(what) + " is not a whole number from " + std::to_string(lowest) +
                             " to " + std::to_string(highest));
  return value.get<std::int64_t>();
}
inline constexpr Nanos farthest_nanos = 2'000'000'000 * ns_per_s;  // 63 years
inline Nanos nanos_from(const Json& object, const char* key) {
  return whole_from(object.at(key), key, -farthest_nanos, farthest_nanos);
}
inline Nanos instant_from(const Json& object, const char* key) {
  const double seconds = object.at(key).get<double>();
  if (!(std::fabs(seconds) < 2e9)) throw std::runtime_error(std::string(key) + " is not a time in seconds");
  return from_seconds(seconds);
}

}  // namespace tachproof
