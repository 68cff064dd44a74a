#include "core/gauge/button_words.h"

#include <cmath>

#include "core/base/text.h"
#include "core/base/words.h"

namespace tachproof {

// Free of what multiplying by 100 leaves behind.
std::string per_cent_text(double share) { return number_text(std::round(share * 1e8) / 1e6); }

std::string levels_text(const Dim& dim) {
  std::string levels;
  for (const double level : dim.levels) levels += (levels.empty() ? "" : ", ") + per_cent_text(level);
  return levels;
}

std::string says_what(const Button& button, const Gauge& gauge) {
  if (const auto* take = std::get_if<TakeRpm>(&button.does))
    return "takes the rpm for " + gauge.windows.at(take->boundary).name + ", from " +
           number_text(take->lowest_rpm) + " to " + number_text(take->highest_rpm) + " rpm";
  if (const auto* peak = std::get_if<ShowPeak>(&button.does))
    return "shows the peak for " + say_span(peak->lasts);
  return "dims the lamps to " + levels_text(std::get<Dim>(button.does)) + " %";
}

}  // namespace tachproof
