#include "bench/files/dates.h"

#include <charconv>
#include <chrono>

namespace tachproof {
namespace {

bool digits(std::string_view text, int& into) {
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), into);
  return error == std::errc{} && end == text.data() + text.size() && text.front() != '-';
}

}  // namespace

bool is_date(std::string_view text) {
  int year = 0, month = 0, day = 0;
  if (text.size() != 10 || text[4] != '-' || text[7] != '-') return false;
  if (!digits(text.substr(0, 4), year) || !digits(text.substr(5, 2), month) ||
      !digits(text.substr(8, 2), day))
    return false;
  const std::chrono::year_month_day date{std::chrono::year(year), std::chrono::month(unsigned(month)),
                                         std::chrono::day(unsigned(day))};
  return date.ok();
}

}  // namespace tachproof
