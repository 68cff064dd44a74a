// Values in and out of JSON: what is not finite is null, and back it is
// `not_measured`; text is always valid UTF-8; instants are seconds that read
// back to the same nanosecond.
//
// What is read may have been written by anybody: every number is checked against
// what a run can have before it is used, and std::runtime_error says which was not.
#pragma once

#include <fmt/format.h>

#include <cmath>
#include <limits>
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

// No rpm, time or uncertainty of a run is as large; degrees of freedom may be.
inline constexpr double most_number = 1e12;
inline constexpr double any_finite = std::numeric_limits<double>::max();

// null: not measured.
inline double number_of(const Json& value, const char* name, double most = most_number) {
  if (value.is_null()) return not_measured;
  const double number = value.get<double>();
  if (!(std::fabs(number) <= most))
    throw std::runtime_error(fmt::format("{} is {:.4g}, which no run can have", name, number));
  return number;
}
inline double number_from(const Json& object, const char* key, double most = most_number) {
  return number_of(object.at(key), key, most);
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
// Whole, and at most `most`: no double is made an integer that it does not fit.
inline std::uint64_t count_from(const Json& object, const char* key, std::uint64_t most) {
  const std::uint64_t count = count_from(object, key);
  if (count > most) throw std::runtime_error(fmt::format("{} is {}; at most {}", key, count, most));
  return count;
}
// Whole nanoseconds, `least` to `most`.
inline Nanos nanos_of(const Json& value, const char* name, Nanos least, Nanos most) {
  if (!value.is_number_integer())
    throw std::runtime_error(fmt::format("{} is not a whole number of nanoseconds", name));
  const bool huge =
      value.is_number_unsigned() &&
      value.get<std::uint64_t>() > static_cast<std::uint64_t>(std::numeric_limits<Nanos>::max());
  const Nanos nanos = huge ? std::numeric_limits<Nanos>::max() : value.get<Nanos>();
  if (nanos < least || nanos > most)
    throw std::runtime_error(fmt::format("{} is {:.10g} s; it must be from {:.10g} s to {:.10g} s", name,
                                         to_seconds(nanos), to_seconds(least), to_seconds(most)));
  return nanos;
}
// A run lasts weeks at most, so differences and sums of a few instants cannot overflow.
inline constexpr double most_seconds = 1e9;
inline Nanos instant_from(const Json& object, const char* key) {
  const double seconds = object.at(key).get<double>();
  if (!(std::fabs(seconds) < most_seconds))
    throw std::runtime_error(std::string(key) + " is not a time in seconds");
  return from_seconds(seconds);
}

}  // namespace tachproof
