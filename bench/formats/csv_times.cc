#include "bench/formats/csv_times.h"

#include <algorithm>
#include <limits>

#include "bench/formats/digits.h"

namespace tachproof {

std::optional<Nanos> csv_time(std::string_view text, int unit_exponent, CsvNumber& number) {
  constexpr std::uint64_t most = 4'000'000'000'000'000'000;
  if (text.size() > 2 && text.front() == '"' && text.back() == '"') text = text.substr(1, text.size() - 2);
  if (!parse_number(text, number)) return std::nullopt;
  const int exponent = number.exponent + unit_exponent + 9;
  std::uint64_t ns = 0;
  if (number.digits == 0 || exponent < -19) {
    ns = 0;
  } else if (exponent < 0) {
    const std::uint64_t by = powers_of_ten[-exponent];
    const std::uint64_t left_over = number.digits % by;
    ns = number.digits / by + (left_over >= by - left_over ? 1 : 0);
  } else {
    if (exponent > 18 || number.digits > most / powers_of_ten[exponent]) return std::nullopt;
    ns = number.digits * powers_of_ten[exponent];
  }
  if (ns > most) return std::nullopt;
  return number.negative ? -static_cast<Nanos>(ns) : static_cast<Nanos>(ns);
}

Nanos csv_last_digit(const CsvNumber& number, int unit_exponent) {
  return static_cast<Nanos>(powers_of_ten[std::clamp(number.exponent + unit_exponent + 9, 0, 18)]);
}

Nanos csv_resolution(std::string_view head, const CsvHeader& header) {
  constexpr int most_rows = 1000;
  const std::size_t last_newline = head.rfind('\n');
  if (last_newline == std::string_view::npos) return 1;
  const char* next = head.data();
  const char* const limit = head.data() + last_newline + 1;
  for (bool in_header = true; in_header && next < limit;) {
    const std::string_view line = trimmed(csv_line(next, limit));
    in_header = line.empty() || is_csv_comment(line);
  }
  int rows = 0;
  Nanos last = 0;
  Nanos narrowest = std::numeric_limits<Nanos>::max();
  Nanos widest = 0;
  Nanos plain_digit = std::numeric_limits<Nanos>::max();  // plain forms may drop zeros: the finest counts
  Nanos exponent_digit = 1;
  bool repeats = false;
  std::string_view last_levels;
  while (next < limit && rows < most_rows) {
    const std::string_view line = csv_line(next, limit);
    const std::size_t separator = line.find(header.separator);
    if (separator == std::string_view::npos) continue;
    CsvNumber number;
    const auto at = csv_time(trimmed(line.substr(0, separator)), header.unit_exponent, number);
    if (!at) break;  // the reader will say so
    const Nanos digit = csv_last_digit(number, header.unit_exponent);
    if (!number.exponent_form) plain_digit = std::min(plain_digit, digit);
    if (number.exponent_form && number.digits != 0) exponent_digit = std::max(exponent_digit, digit);
    const std::string_view levels = line.substr(separator);
    if (rows > 0) {
      narrowest = std::min(narrowest, *at - last);
      widest = std::max(widest, *at - last);
      repeats = repeats || levels == last_levels;
    }
    last = *at;
    last_levels = levels;
    ++rows;
  }
  const Nanos digit = exponent_digit > 1 || rows == 0 || plain_digit == std::numeric_limits<Nanos>::max()
                          ? exponent_digit
                          : plain_digit;
  const bool sampled = rows >= 3 && repeats && narrowest > 0 && widest - narrowest <= 2 * digit;
  return sampled ? narrowest : digit;
}

}  // namespace tachproof
