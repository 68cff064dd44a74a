#include <algorithm>
#include <cctype>
#include <charconv>
#include <cmath>

#include <fmt/format.h>

#include "bench/run/runner.h"

namespace tachproof {

namespace {

std::string_view trimmed(std::string_view text) {
  const auto blank = [](char c) { return std::isspace(static_cast<unsigned char>(c)) != 0; };
  while (!text.empty() && blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && blank(text.back())) text.remove_suffix(1);
  return text;
}

bool same_without_case(std::string_view a, std::string_view b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](char x, char y) {
    return std::tolower(static_cast<unsigned char>(x)) == std::tolower(static_cast<unsigned char>(y));
  });
}

// The whole text is one number, with "rpm" after it or not.
std::optional<double> number_in(std::string_view text) {
  double number = 0;
  const char* const end = text.data() + text.size();
  const auto [rest, error] = std::from_chars(text.data(), end, number);
  if (error != std::errc{} || !std::isfinite(number)) return std::nullopt;
  const std::string_view unit = trimmed({rest, static_cast<std::size_t>(end - rest)});
  if (!unit.empty() && !same_without_case(unit, "rpm")) return std::nullopt;
  return number;
}

// "6210 within 5, or 3100 to 3150 within 5".
std::string numbers_text(const std::vector<PeakSpan>& right, double within) {
  std::string text;
  for (const PeakSpan& one : right) {
    if (!text.empty()) text += ", or ";
    text += fmt::format("{}", one.lowest);
    if (one.highest > one.lowest) text += fmt::format(" to {}", one.highest);
    text += fmt::format(" within {}", within);
  }
  return text;
}

}  // namespace

AnswerResult judge_answer(const Ask& ask, Nanos at, const std::vector<PeakSpan>& peaks,
                          const std::optional<std::string>& answer) {
  AnswerResult result;
  result.at = at;
  result.question = ask.question;
  const bool wants_text = ask.wants == Ask::Wants::text;
  std::vector<PeakSpan> right{{ask.number, ask.number}};
  if (ask.wants == Ask::Wants::peak) right = peaks;
  result.expected = wants_text ? ask.text : numbers_text(right, ask.within);
  const std::string_view given = trimmed(answer ? std::string_view(*answer) : std::string_view());
  result.answer = given;
  if (given.empty()) return result;
  bool is_right = false;
  if (wants_text) {
    is_right = same_without_case(given, trimmed(ask.text));
  } else if (const std::optional<double> number = number_in(given)) {
    is_right = std::any_of(right.begin(), right.end(), [&](const PeakSpan& one) {
      return *number >= one.lowest - ask.within && *number <= one.highest + ask.within;
    });
  }
  result.verdict = is_right ? Verdict::pass : Verdict::fail;
  return result;
}

}  // namespace tachproof
