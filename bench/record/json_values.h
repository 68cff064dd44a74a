// Values in and out of JSON: what is not finite is null, and back it is
// `not_measured`; text is always valid UTF-8; instants are seconds that read
// back to the same nanosecond.
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
inline std::uint64_t count_from(const Json& object, const char* key) {
  const Json& value = object.at(key);
  if (!value.is_number_unsigned()) throw std::runtime_error(std::string(key) + " is no count");
  return value.get<std::uint64_t>();
}
inline Nanos instant_from(const Json& object, const char* key) {
  const double seconds = object.at(key).get<double>();
  if (!(std::fabs(seconds) < 2e9)) throw std::runtime_error(std::string(key) + " is no time in seconds");
  return from_seconds(seconds);
}

}  // namespace tachproof
