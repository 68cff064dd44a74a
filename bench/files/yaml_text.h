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

}  // namespace tachproof
