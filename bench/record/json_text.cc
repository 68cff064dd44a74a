#include <fmt/format.h>

#include <algorithm>

#include "bench/files/own_files.h"
#include "bench/record/json_values.h"
#include "core/base/foreign_text.h"

namespace tachproof {
namespace {

// As deep as what this program makes.
Json with_valid_text(const Json& json) {
  if (json.is_string()) return valid_utf8(json.get_ref<const std::string&>());
  if (json.is_array()) {
    Json list = Json::array();
    for (const Json& item : json) list.push_back(with_valid_text(item));
    return list;
  }
  if (!json.is_object()) return json;
  Json object = Json::object();
  for (const auto& [key, value] : json.items()) object[valid_utf8(key)] = with_valid_text(value);
  return object;
}

std::string dumped(const Json& json, int indent) {
  try {
    return json.dump(indent);
  } catch (const Json::type_error&) {
    return with_valid_text(json).dump(indent);
  }
}

// Brackets and commas outside of strings, without recursion: the library's own functions on what
// is nested as deep as memory goes would end the program.
void check_size(std::string_view text) {
  std::size_t depth = 0, values = 0;
  bool in_string = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (in_string) {
      if (c == '\\')
        ++i;
      else if (c == '"')
        in_string = false;
      continue;
    }
    if (c == '"') in_string = true;
    if (c == '[' || c == '{') {
      ++depth;
      ++values;
    }
    if ((c == ']' || c == '}') && depth > 0) --depth;
    if (c == ',') ++values;
    if (depth > most_json_depth)
      throw std::runtime_error(fmt::format("it is nested more than {} deep", most_json_depth));
    if (values > most_json_values)
      throw std::runtime_error(fmt::format("it has more than {} values", most_json_values));
  }
}

}  // namespace

std::string json_text(const Json& json, int indent) {
  std::string text = dumped(json, indent);
  const auto plain = [](char c) { return static_cast<unsigned char>(c) < 0x7F; };
  if (std::all_of(text.begin(), text.end(), plain)) return text;
  std::string out;
  out.reserve(text.size());
  // Controls below U+0020 are escapes already, or the line ends of the indenting.
  for (std::size_t i = 0; i < text.size();) {
    char32_t code = 0;
    const std::size_t length = utf8_sequence(std::string_view(text).substr(i), code);
    if (code >= 0x7F && is_control(code))
      out += fmt::format("\\u{:04x}", static_cast<unsigned>(code));
    else
      out.append(text, i, length);
    i += length;
  }
  return out;
}

std::string own_file_from(const Json& object, const char* key) {
  std::string name = text_from(object, key);
  if (!is_plain_name(name))
    throw std::runtime_error("it names the file " + shown(name) + ", which is not of its folder");
  return name;
}

std::string path_below_from(const Json& value) {
  std::string path = value.get<std::string>();
  if (!stays_inside(path))
    throw std::runtime_error("it names the folder " + shown(path) + ", which is not below it");
  return path;
}

Json parse_json(std::string_view text) {
  check_size(text);
  try {
    return Json::parse(text);
  } catch (const nlohmann::json::exception&) {
    // The library's own words name its classes, which tells a user nothing.
    throw std::runtime_error("it is cut short, or not what this program writes");
  }
}

}  // namespace tachproof
