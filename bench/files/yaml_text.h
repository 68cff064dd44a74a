// Text as our own YAML files hold it.
#pragma once

#include <string>
#include <string_view>

namespace tachproof {

// A double-quoted scalar: any one-line text reads back as it is.
inline std::string yaml_quoted(std::string_view text) {
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') out += '\\';
    out += c;
  }
  return out + "\"";
}

// As it is where that reads back as the same text; else quoted.
inline std::string yaml_word(std::string_view text) {
  constexpr std::string_view letters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ";
  const bool plain = text.size() > 1 && (letters.find(text[0]) != text.npos || text[0] == '/') &&
                     text.find_first_not_of(std::string(letters) + "0123456789_-./") == text.npos;
  // What YAML takes for something else than text has few letters.
  constexpr std::string_view others[] = {"true", "false", "yes", "no", "on", "off", "null"};
  std::string small(text);
  for (char& c : small)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  for (const std::string_view other : others)
    if (small == other) return yaml_quoted(text);
  return plain ? std::string(text) : yaml_quoted(text);
}

}  // namespace tachproof
