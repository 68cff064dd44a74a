#include "bench/files/dates.h"

#include <chrono>

#include "core/base/parse.h"

namespace tachproof {
namespace {

bool digits(std::string_view text, int& into) {
  const std::optional<int> number = parse_number<int>(text);
  into = number.value_or(0);
  return number && text.front() != '-';
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
