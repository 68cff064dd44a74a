#include "bench/run/dwell_words.h"

#include <fmt/format.h>

#include <cmath>

#include "bench/record/text.h"
#include "core/base/text.h"

namespace tachproof {
namespace {

// "boundary a is", "boundaries a and b are".
std::string named(const std::vector<std::string>& names, const char* one, const char* many) {
  return (names.size() == 1 ? "boundary " : "boundaries ") + listed_with_and(names) +
         (names.size() == 1 ? one : many);
}

std::string hours(Nanos span) {
  const auto minutes = static_cast<long>(std::ceil(to_seconds(span) / 60));
  return minutes < 60 ? fmt::format("{} min", minutes)
                      : fmt::format("{} h {} min", minutes / 60, minutes % 60);
}

}  // namespace

std::string announced(std::size_t boundaries, Nanos quiet, Nanos longest, bool to_the_end) {
  return fmt::format("The dwell of {} {} takes about {} if the lamps keep quiet, at most {}{}", boundaries,
                     boundaries == 1 ? "boundary" : "boundaries", hours(quiet), hours(longest),
                     to_the_end ? "" : ". It ends at the first boundary that is proven to flicker");
}

std::string closing_words(const DwellEnd& end) {
  const std::string limit = decimal(end.limit_per_min, 2);
  std::vector<std::string> parts;
  if (!end.flicker.empty())
    parts.push_back(named(end.flicker, " makes", " make") + " more than " + limit +
                    " lamp changes per minute");
  if (!end.open.empty()) parts.push_back(named(end.open, " is", " are") + " not decided");
  if (end.flicker.empty() && end.open.empty() && !end.quiet.empty())
    parts.push_back(named(end.quiet, " keeps", " keep") + " under " + limit + " lamp changes per minute");
  if (!end.not_tried.empty()) parts.push_back("not tried: " + listed_with_and(end.not_tried));
  std::string text;
  for (const std::string& part : parts) text += (text.empty() ? "" : "; ") + part;
  return end.flicker.empty() ? text : text + ". Width: " + end.width;
}

}  // namespace tachproof
