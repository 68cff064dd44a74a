#include "bench/reports/hatch.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <string_view>

namespace tachproof {
namespace {

// CSS Color Module Level 4, section 6.1, sorted.
constexpr std::string_view css_names =
    " aliceblue antiquewhite aqua aquamarine azure beige bisque black blanchedalmond blue blueviolet brown "
    "burlywood cadetblue chartreuse chocolate coral cornflowerblue cornsilk crimson cyan darkblue darkcyan "
    "darkgoldenrod darkgray darkgreen darkgrey darkkhaki darkmagenta darkolivegreen darkorange darkorchid "
    "darkred darksalmon darkseagreen darkslateblue darkslategray darkslategrey darkturquoise darkviolet "
    "deeppink deepskyblue dimgray dimgrey dodgerblue firebrick floralwhite forestgreen fuchsia gainsboro "
    "ghostwhite gold goldenrod gray green greenyellow grey honeydew hotpink indianred indigo ivory khaki "
    "lavender lavenderblush lawngreen lemonchiffon lightblue lightcoral lightcyan lightgoldenrodyellow "
    "lightgray lightgreen lightgrey lightpink lightsalmon lightseagreen lightskyblue lightslategray "
    "lightslategrey lightsteelblue lightyellow lime limegreen linen magenta maroon mediumaquamarine "
    "mediumblue "
    "mediumorchid mediumpurple mediumseagreen mediumslateblue mediumspringgreen mediumturquoise "
    "mediumvioletred midnightblue mintcream mistyrose moccasin navajowhite navy oldlace olive olivedrab "
    "orange "
    "orangered orchid palegoldenrod palegreen paleturquoise palevioletred papayawhip peachpuff peru pink "
    "plum "
    "powderblue purple rebeccapurple red rosybrown royalblue saddlebrown salmon sandybrown seagreen seashell "
    "sienna silver skyblue slateblue slategray slategrey snow springgreen steelblue tan teal thistle tomato "
    "turquoise violet wheat white whitesmoke yellow yellowgreen ";

std::string lower(std::string word) {
  for (char& c : word)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return word;
}

// Hatches in an 8 x 8 cell; the first is none.
constexpr std::array hatches = {"",
                                "M-2 2L2-2M0 8L8 0M6 10L10 6",
                                "M-2 6L2 10M0 0L8 8M6-2L10 2",
                                "M0 2H8M0 6H8",
                                "M2 2h1.6v1.6h-1.6zM6 6h1.6v1.6h-1.6z",
                                "M0 0L8 8M8 0L0 8",
                                "M0 4H8M4 0V8",
                                "M1 3L4 6L7 3"};

// Of words for lamps that CSS does not know: amber as a signal lamp's yellow-orange.
std::string fill_of(const std::string& word) {
  if (lower(word) == "amber") return "#ffb000";
  return is_css_colour(word) ? lower(word) : "gray";
}

std::string pattern(const std::string& id, int width, const std::string& content) {
  return fmt::format(
      "<pattern id=\"{}\" width=\"{}\" height=\"8\" patternUnits=\"userSpaceOnUse\">{}</pattern>\n", id,
      width, content);
}

// Half strength, so that hatch and writing stay readable on it.
std::string cell(const std::string& word, std::size_t index, double width) {
  return fmt::format(
      "<rect width=\"{0}\" height=\"8\" fill=\"#fff\"/><rect width=\"{0}\" height=\"8\" fill=\"{1}\" "
      "fill-opacity=\".5\"/><path d=\"{2}\" fill=\"none\" stroke=\"#000\" stroke-width=\"1\"/>",
      width, fill_of(word), hatches[index % hatches.size()]);
}

}  // namespace

bool is_css_colour(const std::string& word) {
  return !word.empty() && word.find(' ') == std::string::npos &&
         css_names.find(" " + lower(word) + " ") != std::string_view::npos;
}

Palette::Palette(const Gauge& gauge, std::string prefix) : prefix_(std::move(prefix)) {
  for (const Lamp& lamp : gauge.lamps)
    for (const std::string& word : lamp.colours)
      if (std::find(words_.begin(), words_.end(), word) == words_.end()) words_.push_back(word);
}

std::size_t Palette::index(const std::string& word) const {
  return static_cast<std::size_t>(std::find(words_.begin(), words_.end(), word) - words_.begin());
}

std::string Palette::definitions() const {
  std::string svg = "<svg width=\"0\" height=\"0\" class=\"definitions\" aria-hidden=\"true\"><defs>\n";
  for (std::size_t i = 0; i < words_.size(); ++i) {
    svg += pattern(fmt::format("{}lit-{}", prefix_, i), 8, cell(words_[i], i, 8));
    svg += pattern(fmt::format("{}flash-{}", prefix_, i), 8,
                   cell(words_[i], i, 5) +
                       "<path d=\"M0 0V8M5 0V8\" stroke=\"#000\"/>"
                       "<rect x=\"5\" width=\"3\" height=\"8\" fill=\"#fff\"/>");
  }
  svg += pattern(prefix_ + "flash", 8,
                 "<rect width=\"8\" height=\"8\" fill=\"#fff\"/><path d=\"M0 0V8M5 0V8\" stroke=\"#000\"/>");
  svg += pattern(prefix_ + "either", 6,
                 "<rect width=\"6\" height=\"8\" fill=\"#fff\"/>"
                 "<path d=\"M1 1h1v1h-1zM4 5h1v1h-1z\" fill=\"#000\"/>");
  return svg + "</defs></svg>\n";
}

}  // namespace tachproof
