#include "bench/record/text.h"

#include <fmt/format.h>

#include <charconv>
#include <cmath>
#include <cstdint>

#include "core/base/foreign_text.h"

namespace tachproof {

std::string valid_utf8(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  while (!text.empty()) {
    char32_t code = 0;
    const std::size_t length = utf8_sequence(text, code);
    if (length == 0)
      out += byte_shown(static_cast<unsigned char>(text.front()));
    else
      out += text.substr(0, length);
    text.remove_prefix(length == 0 ? 1 : length);
  }
  return out;
}

std::string printable(std::string_view text) {
  std::string line(text);
  for (char& c : line)
    if (c == '\n' || c == '\r' || c == '\t') c = ' ';
  return shown(line);
}

std::string escaped(std::string_view text) {
  std::string out;
  for (const char c : printable(text)) {
    switch (c) {
      case '&': out += "&amp;"; break;
      case '<': out += "&lt;"; break;
      case '>': out += "&gt;"; break;
      case '"': out += "&quot;"; break;
      case '\'': out += "&#39;"; break;
      default: out += c;
    }
  }
  return out;
}

std::string csv_name(std::string_view text) {
  std::string out = printable(text);
  for (char& c : out)
    if (c == ',' || c == ';' || c == '"' || c == ' ') c = '_';
  return out;
}

std::size_t code_points(std::string_view utf8) {
  std::size_t n = 0;
  for (const char c : utf8) n += (static_cast<unsigned char>(c) & 0xC0) != 0x80;
  return n;
}

namespace {

// Bytes of the first `n` code points.
std::size_t bytes_of(std::string_view utf8, std::size_t n) {
  std::size_t i = 0;
  for (; i < utf8.size(); ++i)
    if ((static_cast<unsigned char>(utf8[i]) & 0xC0) != 0x80 && n-- == 0) break;
  return i;
}

}  // namespace

std::string shortened(std::string_view utf8, std::size_t most) {
  if (code_points(utf8) <= most) return std::string(utf8);
  if (most < 2) return std::string(utf8.substr(0, bytes_of(utf8, most)));
  return std::string(utf8.substr(0, bytes_of(utf8, most - 2))) + "..";
}

std::vector<std::string> wrapped(std::string_view utf8, std::size_t width) {
  width = width == 0 ? 1 : width;
  std::vector<std::string> lines(1);
  while (!utf8.empty()) {
    const std::size_t blank = utf8.find(' ');
    std::string_view word = utf8.substr(0, blank);
    utf8.remove_prefix(blank == std::string_view::npos ? utf8.size() : blank + 1);
    if (word.empty()) continue;
    const std::size_t used = code_points(lines.back());
    if (used > 0 && used + 1 + code_points(word) <= width) {
      lines.back() += ' ';
    } else if (used > 0) {
      lines.emplace_back();
    }
    while (code_points(word) > width) {
      lines.back() = word.substr(0, bytes_of(word, width));
      word.remove_prefix(bytes_of(word, width));
      lines.emplace_back();
    }
    lines.back() += word;
  }
  return lines;
}

std::string listed_with_and(const std::vector<std::string>& parts) {
  std::string text;
  for (std::size_t i = 0; i < parts.size(); ++i)
    text += (i == 0 ? "" : i + 1 == parts.size() ? " and " : ", ") + parts[i];
  return text;
}

std::string padded(std::string_view utf8, std::size_t width) {
  const std::string cut = shortened(printable(utf8), width);
  return cut + std::string(width - code_points(cut), ' ');
}

std::string as_paragraph(const std::string& lead, std::string_view utf8, std::size_t columns) {
  const std::size_t indent = code_points(lead);
  std::string all;
  std::string before = lead;
  for (const std::string& line : wrapped(printable(utf8), columns - indent)) {
    all += before + line + "\n";
    before.assign(indent, ' ');
  }
  return all;
}

std::string fixed(double value, int decimals) {
  if (!std::isfinite(value)) return "n/a";
  std::string text = fmt::format("{:.{}f}", value, decimals);
  if (text.front() == '-' && text.find_first_not_of("-0.") == std::string::npos) text.erase(0, 1);
  return text;
}

std::string with_sign(double value, int decimals) {
  const std::string text = fixed(value, decimals);
  const bool bare = !std::isfinite(value) || text.front() == '-';
  return bare || text.find_first_not_of("0.") == std::string::npos ? text : "+" + text;
}

int decimals_for(double expanded_uncertainty, int otherwise) {
  if (!std::isfinite(expanded_uncertainty) || expanded_uncertainty <= 0) return otherwise;
  const double decimals = 1 - std::floor(std::log10(expanded_uncertainty));
  return static_cast<int>(std::fmin(4, std::fmax(0, decimals)));
}

std::string speed_words(const Quantity& m_per_s, SpeedUnit unit) {
  std::string text = say_speed(m_per_s, unit);
  if (const std::size_t at = text.find("+-"); at != std::string::npos) text.replace(at, 2, "± ");
  return text;
}

std::string drive_words(const Drive& drive) {
  const Quantity& turn = drive.tyre.circumference_m;
  return fmt::format("{} ({} m ± {} a turn)", in_words(drive), fixed(turn.value, 3),
                     fixed(speed_coverage * turn.standard_uncertainty, 3));
}

std::string exact_seconds(Nanos t) {
  const std::uint64_t size = t < 0 ? 0 - static_cast<std::uint64_t>(t) : static_cast<std::uint64_t>(t);
  return fmt::format("{}{}.{:09}", t < 0 ? "-" : "", size / 1'000'000'000, size % 1'000'000'000);
}

bool parse_seconds(std::string_view text, Nanos& t) {
  const bool negative = !text.empty() && text.front() == '-';
  if (negative) text.remove_prefix(1);
  const std::size_t dot = text.find('.');
  if (dot == std::string_view::npos || dot == 0 || dot > 10 || text.size() != dot + 10) return false;
  std::int64_t whole = 0;
  std::int64_t nanos = 0;
  const char* const middle = text.data() + dot;
  const char* const end = text.data() + text.size();
  if (text.front() == '-' || text[dot + 1] == '-') return false;
  if (std::from_chars(text.data(), middle, whole).ptr != middle) return false;
  if (std::from_chars(middle + 1, end, nanos).ptr != end) return false;
  if (whole >= 9'000'000'000) return false;
  t = (whole * ns_per_s + nanos) * (negative ? -1 : 1);
  return true;
}

}  // namespace tachproof
