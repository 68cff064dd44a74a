#include "bench/files/yaml_value.h"

#include <fmt/format.h>

#include <algorithm>

namespace tachproof {
namespace {

// What a plain scalar inside of braces may be made of, besides UTF-8 letters; blanks and ':' only inside.
bool is_plain(std::string_view text) {
  constexpr std::string_view first_no = "-?:,[]{}#&*!|>'\"%@` ";
  constexpr std::string_view words[] = {"~", "null", "Null", "NULL"};
  if (text.empty() || text.back() == ' ' || text.back() == ':') return false;
  for (const std::string_view word : words)
    if (text == word) return false;
  const bool number_below_zero =
      text[0] == '-' && text.size() > 1 && ((text[1] >= '0' && text[1] <= '9') || text[1] == '.');
  if (first_no.find(text[0]) != first_no.npos && !number_below_zero) return false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto c = static_cast<unsigned char>(text[i]);
    if (c < 0x20 || c == 0x7f || c == ',' || c == '[' || c == ']' || c == '{' || c == '}') return false;
    if (c == '#' && text[i - 1] == ' ') return false;
    // Quoted below: what the library takes for a line's end.
    if (c == 0xc2 && i + 1 < text.size() && static_cast<unsigned char>(text[i + 1]) < 0xa0) return false;
    if (c == 0xe2 || c == 0xef) return false;
    if (c == ':' && (i + 1 == text.size() || text[i + 1] == ' ')) return false;
  }
  return text != "---" && text != "...";
}

std::string in_quotes(std::string_view text) {
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\')
      out += std::string("\\") + c;
    else if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f)
      out += fmt::format("\\x{:02x}", static_cast<unsigned char>(c));
    else
      out += c;
  }
  return out + "\"";
}

bool of_lines(const YamlValue& value) {
  return value.kind == YamlValue::Kind::list && !value.items.empty() &&
         std::any_of(value.items.begin(), value.items.end(),
                     [](const YamlValue& item) { return item.kind != YamlValue::Kind::scalar; });
}

}  // namespace

YamlValue YamlValue::list() { return {Kind::list, {}, {}, {}}; }
YamlValue YamlValue::mapping() { return {Kind::mapping, {}, {}, {}}; }
YamlValue YamlValue::raw(std::string lines) { return {Kind::raw, std::move(lines), {}, {}}; }
void YamlValue::add(std::string key, YamlValue value) {
  entries.push_back({std::move(key), std::move(value)});
}

YamlValue YamlValue::scalar(std::string text) { return {Kind::scalar, std::move(text), {}, {}}; }

bool says(const YamlNode& node, const YamlValue& value) {
  using Kind = YamlValue::Kind;
  switch (value.kind) {
    case Kind::raw: return true;
    case Kind::nothing: return node.kind == YamlNode::Kind::nothing;
    case Kind::scalar: return node.kind == YamlNode::Kind::scalar && node.text == value.text;
    case Kind::list:
      return node.kind == YamlNode::Kind::list && node.items.size() == value.items.size() &&
             std::equal(node.items.begin(), node.items.end(), value.items.begin(),
                        [](const YamlNode* a, const YamlValue& b) { return says(*a, b); });
    case Kind::mapping: break;
  }
  if (node.kind != YamlNode::Kind::mapping || node.entries.size() != value.entries.size()) return false;
  return std::all_of(value.entries.begin(), value.entries.end(), [&](const auto& wanted) {
    return std::any_of(node.entries.begin(), node.entries.end(), [&](const YamlNode::Entry& entry) {
      return entry.key->text == wanted.key && says(*entry.value, wanted.value);
    });
  });
}

YamlValue value_of(const YamlNode& node) {
  YamlValue value;
  switch (node.kind) {
    case YamlNode::Kind::nothing: break;
    case YamlNode::Kind::scalar: return YamlValue::scalar(node.text);
    case YamlNode::Kind::list:
      value.kind = YamlValue::Kind::list;
      for (const YamlNode* item : node.items) value.items.push_back(value_of(*item));
      break;
    case YamlNode::Kind::mapping:
      value.kind = YamlValue::Kind::mapping;
      for (const YamlNode::Entry& entry : node.entries) value.add(entry.key->text, value_of(*entry.value));
      break;
  }
  return value;
}

std::string scalar_text(std::string_view text) {
  return is_plain(text) ? std::string(text) : in_quotes(text);
}

std::string flow_text(const YamlValue& value) {
  std::string text;
  switch (value.kind) {
    case YamlValue::Kind::nothing: return "";
    case YamlValue::Kind::raw: return value.text;
    case YamlValue::Kind::scalar: return scalar_text(value.text);
    case YamlValue::Kind::list:
      for (const YamlValue& item : value.items) text += (text.empty() ? "" : ", ") + flow_text(item);
      return "[" + text + "]";
    case YamlValue::Kind::mapping: break;
  }
  for (const auto& [key, item] : value.entries)
    text += (text.empty() ? "" : ", ") + scalar_text(key) + ": " + flow_text(item);
  return "{" + text + "}";
}

std::string entry_text(const std::string& key, const YamlValue& value) {
  if (value.kind == YamlValue::Kind::raw)
    return value.text.empty() || value.text.back() == '\n' ? value.text : value.text + "\n";
  if (!of_lines(value)) {
    const std::string flow = flow_text(value);
    return scalar_text(key) + ":" + (flow.empty() ? "" : " " + flow) + "\n";
  }
  std::string text = scalar_text(key) + ":\n";
  for (const YamlValue& item : value.items) text += "  - " + flow_text(item) + "\n";
  return text;
}

std::string file_text(const YamlValue& mapping) {
  std::string text;
  for (const auto& [key, value] : mapping.entries) text += entry_text(key, value);
  return text;
}

}  // namespace tachproof
