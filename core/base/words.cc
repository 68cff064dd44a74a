#include "core/base/words.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace tachproof {
namespace {

constexpr std::size_t longest_name = 64;

struct CodePoint {
  char32_t value = 0;
  std::size_t bytes = 0;  // 0: not UTF-8
};

CodePoint code_point(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned char lead = byte(0);
  if (lead < 0x80) return {lead, 1};
  const std::size_t bytes = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : 2;
  if (lead < 0xC2 || lead > 0xF4 || text.size() < bytes) return {};
  char32_t value = lead & (0xFFu >> (bytes + 1));
  for (std::size_t i = 1; i < bytes; ++i) {
    if ((byte(i) & 0xC0) != 0x80) return {};
    value = (value << 6) | (byte(i) & 0x3Fu);
  }
  return {value, bytes};
}

// The blocks of Unicode that hold letters, coarsely: all but controls,
// blanks, punctuation, symbols, surrogates and private use.
bool is_letter(char32_t c) {
  if (c < 0x80) return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
  if (c < 0xC0 || c == 0xD7 || c == 0xF7) return false;
  if (c >= 0x2000 && c < 0x2C00) return false;
  if (c >= 0x2E00 && c < 0x3040) return false;
  if (c >= 0xD800 && c < 0xF900) return false;
  if (c >= 0xFE00 && c < 0xFE70) return false;
  return c < 0xFEFF;
}

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

// Optimal string alignment distance (Damerau-Levenshtein without repeated
// edits of one place).
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> before(b.size() + 1), last(b.size() + 1), row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t differs = lower(a[i - 1]) == lower(b[j - 1]) ? 0 : 1;
      row[j] = std::min({last[j] + 1, row[j - 1] + 1, last[j - 1] + differs});
      const bool swapped =
          i > 1 && j > 1 && lower(a[i - 1]) == lower(b[j - 2]) && lower(a[i - 2]) == lower(b[j - 1]);
      if (swapped) row[j] = std::min(row[j], before[j - 2] + 1);
    }
    before.swap(last);
    last.swap(row);
  }
  return last[b.size()];
}

}  // namespace

std::string number_text(double value) {
  std::array<char, 64> text{};
  const double size = std::abs(value);
  const bool plain = size == 0 || (size >= 1e-4 && size < 1e15);
  const auto format = plain ? std::chars_format::fixed : std::chars_format::general;
  const auto end = std::to_chars(text.data(), text.data() + text.size(), value, format);
  return {text.data(), end.ptr};
}

bool is_name(std::string_view text) {
  if (text.empty() || text.size() > longest_name) return false;
  while (!text.empty()) {
    const CodePoint c = code_point(text);
    if (c.bytes == 0) return false;
    const bool mark = c.value == '_' || c.value == '.' || c.value == '-';
    if (!mark && !(c.value >= '0' && c.value <= '9') && !is_letter(c.value)) return false;
    text.remove_prefix(c.bytes);
  }
  return true;
}

std::string nearest(std::string_view word, std::span<const std::string> candidates) {
  if (word.size() > 2 * longest_name) return {};
  const std::string* best = nullptr;
  std::size_t best_distance = std::max<std::size_t>(1, word.size() / 3) + 1;
  for (const std::string& candidate : candidates) {
    const std::size_t d = distance(word, candidate);
    // A single letter is one edit away from every other: no hint.
    if (d < best_distance && d < std::max<std::size_t>(word.size(), 1)) {
      best = &candidate;
      best_distance = d;
    }
  }
  return best ? *best : std::string{};
}

}  // namespace tachproof
