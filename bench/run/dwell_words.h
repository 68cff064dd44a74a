// What a dwell says before and after, in sentences without a full stop.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "core/base/time.h"

namespace tachproof {

// How long it will take: if no lamp flickers, and at most.
std::string announced(std::size_t boundaries, Nanos quiet, Nanos longest, bool to_the_end);

// Boundaries by what became of them, in the gauge's order.
struct DwellEnd {
  double limit_per_min = 1;
  std::vector<std::string> flicker, quiet, open, not_tried;
  std::string width;  // that would hold, where one flickers
};
std::string closing_words(const DwellEnd& end);

}  // namespace tachproof
