// Days as people write them in files and on command lines.
#pragma once

#include <string_view>

namespace tachproof {

// A day that the calendar has, as YYYY-MM-DD.
bool is_date(std::string_view text);

}  // namespace tachproof
