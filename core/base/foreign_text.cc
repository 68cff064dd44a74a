#include "core/base/foreign_text.h"

namespace tachproof {
namespace {

std::string escape(const char* lead, char32_t code, int digits) {
  constexpr std::string_view hex = "0123456789abcdef";
  std::string text = lead;
  for (int i = digits - 1; i >= 0; --i) text += hex[(code >> (4 * i)) & 15];
  return text;
}

}  // namespace

std::size_t utf8_sequence(std::string_view text, char32_t& code) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned char first = byte(0);
  if (first < 0x80) {
    code = first;
    return 1;
  }
  const std::size_t length = first >= 0xF0 ? 4 : first >= 0xE0 ? 3 : 2;
  if (first < 0xC2 || first > 0xF4 || text.size() < length) return 0;
  code = first & (0xFFu >> (length + 1));
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(i) & 0xC0) != 0x80) return 0;
    code = code << 6 | (byte(i) & 0x3Fu);
  }
  const bool overlong = (length == 3 && code < 0x800) || (length == 4 && code < 0x10000);
  const bool surrogate = code >= 0xD800 && code <= 0xDFFF;
  return overlong || surrogate || code > 0x10FFFF ? 0 : length;
}

bool is_control(char32_t code) {
  return code < 0x20 || (code >= 0x7F && code < 0xA0) || (code >= 0x202A && code <= 0x202E) ||
         (code >= 0x2066 && code <= 0x2069) || code == 0xFFFE || code == 0xFFFF;
}

std::string control_shown(char32_t code) {
  if (code == '\n') return "\\n";
  if (code == '\r') return "\\r";
  if (code == '\t') return "\\t";
  return code < 0x80 ? escape("\\x", code, 2) : escape("\\u", code, 4);
}

std::string byte_shown(unsigned char byte) { return escape("\\x", byte, 2); }

std::string shown(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  while (!text.empty()) {
    char32_t code = 0;
    const std::size_t length = utf8_sequence(text, code);
    if (length == 0)
      out += byte_shown(static_cast<unsigned char>(text.front()));
    else if (is_control(code))
      out += control_shown(code);
    else
      out += text.substr(0, length);
    text.remove_prefix(length == 0 ? 1 : length);
  }
  return out;
}

}  // namespace tachproof
