#include "bench/formats/csv_header.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <optional>
#include <utility>

namespace tachproof {
namespace {

using namespace std::string_view_literals;

std::string_view first_line(LineBuffer& lines) {
  for (;;) {
    if (lines.next == lines.limit && !lines.more()) {
      const std::string_view rest = trimmed(lines.rest());
      if (!rest.empty())
        lines.fail("the file ends in its first line, " + as_shown(rest) + "; it was cut off there");
      lines.fail("no header; time and one column per channel are needed");
    }
    const std::string_view line = trimmed(csv_line(lines.next, lines.limit));
    if (!line.empty() && !is_csv_comment(line)) return line;
    ++lines.line;
  }
}

char separator_of(std::string_view header) {
  constexpr std::array candidates = {',', ';', '\t'};
  std::array<std::size_t, candidates.size()> count{};
  bool in_quotes = false;
  for (const char c : header) {
    if (c == '"') in_quotes = !in_quotes;
    for (std::size_t i = 0; i < candidates.size(); ++i) count[i] += !in_quotes && c == candidates[i];
  }
  const auto most = std::max_element(count.begin(), count.end());
  return *most == 0 ? '\0' : candidates[static_cast<std::size_t>(most - count.begin())];
}

std::vector<std::string> names_of(const LineBuffer& lines, std::string_view header, char separator) {
  std::vector<std::string> names;
  std::size_t at = 0;
  for (;;) {
    std::string name;
    bool in_quotes = false;
    for (; at < header.size() && (in_quotes || header[at] != separator); ++at) {
      if (header[at] != '"') {
        name += header[at];
      } else if (in_quotes && at + 1 < header.size() && header[at + 1] == '"') {
        name += header[at++];
      } else {
        in_quotes = !in_quotes;
      }
    }
    if (in_quotes) lines.fail("a quote that does not end in the header");
    names.emplace_back(trimmed(name));
    if (at++ >= header.size()) return names;
  }
}

// What stands in brackets behind the name, or its last word: "Time [ms]", "t/ns", "time_ms".
struct UnitInName {
  bool in_brackets = false;
  std::string_view word;
};

UnitInName unit_in(std::string_view name) {
  const std::size_t open = name.find_first_of("[(");
  if (open != std::string_view::npos) {
    const std::size_t close = std::min(name.find_first_of("])", open), name.size());
    return {true, trimmed(name.substr(open + 1, close - open - 1))};
  }
  const std::size_t last_word = name.find_last_of(" \t_/");
  return {false, last_word == std::string_view::npos ? std::string_view() : name.substr(last_word + 1)};
}

int unit_exponent(const LineBuffer& lines, std::string_view name) {
  const UnitInName unit = unit_in(name);
  const std::optional<int> exponent = exponent_of_seconds(unit.word);
  if (unit.in_brackets && !exponent) {
    lines.fail(fmt::format("time column {} in {}; s, ms, us, ns or ps are allowed", as_shown(name),
                           as_shown(unit.word)));
  }
  if (name == "sample" || name == "samples" || name == "Sample" || name == "Samples") {
    lines.fail(fmt::format("the first column is {}; a time in seconds is needed", as_shown(name)));
  }
  return exponent.value_or(0);
}

}  // namespace

std::optional<int> exponent_of_seconds(std::string_view unit) {
  constexpr std::array<std::pair<std::string_view, int>, 12> units = {{{"s"sv, 0},
                                                                       {"sec"sv, 0},
                                                                       {"second"sv, 0},
                                                                       {"seconds"sv, 0},
                                                                       {"ms"sv, -3},
                                                                       {"us"sv, -6},
                                                                       {"\xC2\xB5s"sv, -6},  // micro sign
                                                                       {"\xCE\xBCs"sv, -6},  // Greek mu
                                                                       {"\xB5s"sv, -6},      // in Latin-1
                                                                       {"ns"sv, -9},
                                                                       {"ps"sv, -12},
                                                                       {"Seconds"sv, 0}}};
  for (const auto& [name, exponent] : units) {
    if (name == unit) return exponent;
  }
  return std::nullopt;
}

std::optional<int> time_unit_in(std::string_view name) { return exponent_of_seconds(unit_in(name).word); }

CsvHeader read_csv_header(LineBuffer& lines) {
  const std::string line(first_line(lines));
  CsvHeader header;
  header.separator = separator_of(line);
  if (header.separator == '\0') {
    lines.fail(as_shown(line) +
               " begins neither a VCD (a $ keyword) nor a CSV (a header: time, then channels)");
  }
  std::vector<std::string> names = names_of(lines, line, header.separator);
  CsvNumber number;
  if (parse_number(names[0], number)) {
    lines.fail(fmt::format("no header: the first line begins with the number {}; a line of names is needed",
                           as_shown(names[0])));
  }
  header.unit_exponent = unit_exponent(lines, names[0]);
  header.channels.assign(names.begin() + 1, names.end());
  std::vector<std::string> sorted = header.channels;
  std::sort(sorted.begin(), sorted.end());
  if (sorted[0].empty()) lines.fail("a column without a name");
  if (const auto twice = std::adjacent_find(sorted.begin(), sorted.end()); twice != sorted.end()) {
    lines.fail(fmt::format("two columns are called {}", as_shown(*twice)));
  }
  ++lines.line;
  return header;
}

std::string_view csv_line(const char*& next, const char* limit) {
  const char* const begin = next;
  const char* end = std::find(begin, limit, '\n');
  next = end == limit ? limit : end + 1;
  if (end > begin && end[-1] == '\r') --end;
  return {begin, static_cast<std::size_t>(end - begin)};
}

bool is_csv_comment(std::string_view line) {
  return line[0] == ';' || line[0] == '#' || line.starts_with(sigrok_meta);
}

bool parse_number(std::string_view text, CsvNumber& number) {
  number = {};
  std::size_t i = 0;
  if (i < text.size() && (text[i] == '-' || text[i] == '+')) number.negative = text[i++] == '-';
  bool after_point = false;
  bool any = false;
  int counted = 0;
  for (; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '.' && !after_point) {
      after_point = true;
      continue;
    }
    if (c < '0' || c > '9') break;
    any = true;
    if (number.digits != 0 || c != '0') {
      if (++counted > 19) return false;
      number.digits = number.digits * 10 + static_cast<std::uint64_t>(c - '0');
    }
    number.exponent -= after_point;
  }
  if (!any) return false;
  if (i < text.size() && (text[i] == 'e' || text[i] == 'E')) {
    number.exponent_form = true;
    ++i;
    const bool down = i < text.size() && text[i] == '-';
    if (i < text.size() && (text[i] == '-' || text[i] == '+')) ++i;
    if (i == text.size() || text.size() - i > 3) return false;
    int exponent = 0;
    for (; i < text.size(); ++i) {
      if (text[i] < '0' || text[i] > '9') return false;
      exponent = exponent * 10 + (text[i] - '0');
    }
    number.exponent += down ? -exponent : exponent;
  }
  return i == text.size();
}

}  // namespace tachproof
