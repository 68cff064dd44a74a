#include "bench/page/frame.h"

#include <fmt/format.h>

#include <array>
#include <utility>

#include "bench/record/text.h"

namespace tachproof {

std::string framed_page(std::string_view place, std::string_view title, const std::string& body,
                        bool looks_again) {
  constexpr std::array<std::pair<std::string_view, std::string_view>, 5> places{
      {{"/", "Bench"}, {"/gauges", "Gauges"}, {"/runs", "Runs"}, {"/units", "Units"}, {"/rigs", "Rigs"}}};
  std::string bar;
  for (const auto& [address, name] : places)
    bar += fmt::format("<a href=\"{}\"{}>{}</a>\n", address, address == place ? " aria-current=\"page\"" : "",
                       name);
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<title>{} - Tachproof</title>\n<link rel=\"icon\" href=\"data:,\">\n"
      "<link rel=\"stylesheet\" href=\"/page.css\">\n<script src=\"/page.js\" defer></script>\n{}</head>\n"
      "<body>\n<nav aria-label=\"Places\">\n{}</nav>\n<main>\n{}</main>\n</body>\n</html>\n",
      escaped(title), looks_again ? "<noscript><meta http-equiv=\"refresh\" content=\"2\"></noscript>\n" : "",
      bar, body);
}

}  // namespace tachproof
