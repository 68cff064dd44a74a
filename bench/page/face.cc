#include "bench/page/face.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/record/text.h"
#include "bench/reports/hatch.h"
#include "bench/reports/svg.h"

namespace tachproof {
namespace {

// A lamp's disc stays under the area from which flashing counts as general (WCAG 2.2, 2.3.1).
constexpr double lamp_place = 130, radius = 38, face_height = 150;
constexpr double strip_width = 760, strip_height = 230, strip_left = 60, strip_right = 640;

}  // namespace

std::string face_svg(const Gauge& gauge, const std::string& prefix) {
  return Palette(gauge, prefix).definitions() + face_svg(gauge, prefix, nullptr);
}

std::string face_svg(const Gauge& gauge, const std::string& prefix, const Cue* lit) {
  const Palette palette(gauge, prefix);
  const double width = lamp_place * static_cast<double>(std::max<std::size_t>(gauge.lamps.size(), 1));
  std::string svg = fmt::format(
      "<svg class=\"face\" viewBox=\"0 0 {:.0f} {:.0f}\" role=\"img\" "
      "aria-label=\"the unit's lamps\">\n",
      width, face_height);
  std::size_t channel = 0;
  for (std::size_t lamp = 0; lamp < gauge.lamps.size(); ++lamp) {
    const double x = lamp_place * (static_cast<double>(lamp) + 0.5);
    std::string shown = "dark";
    svg += fmt::format("<circle cx=\"{:.0f}\" cy=\"46\" r=\"{:.0f}\" class=\"socket\"/>\n", x, radius);
    for (const std::string& colour : gauge.lamps[lamp].colours) {
      const Channels bit = Channels{1} << channel;
      const bool on = lit != nullptr && ((lit->steady | lit->blinking) & bit) != 0;
      if (on) shown = escaped(colour) + ((lit->blinking & bit) != 0 ? " blinking" : "");
      svg += fmt::format(
          "<circle cx=\"{:.0f}\" cy=\"46\" r=\"{:.0f}\" class=\"lit{}\" data-channel=\"{}\" data-lamp=\"{}\" "
          "data-word=\"{}\" fill=\"url(#{}lit-{})\"/>\n",
          x, radius, on ? " on" : "", channel++, lamp, escaped(colour), prefix, palette.index(colour));
    }
    svg += svg_text({x, 108}, shortened(printable(gauge.lamps[lamp].id), 14), "name", Anchor::middle);
    svg += fmt::format(
        "<text x=\"{:.0f}\" y=\"132\" text-anchor=\"middle\" class=\"word\" data-lamp=\"{}\">{}</text>\n", x,
        lamp, shown);
  }
  return svg + "</svg>\n";
}

std::string strip_svg(const Gauge& gauge, double lowest, double highest) {
  const Scale rpm{lowest, highest, strip_height - 10, 10};
  std::string svg = fmt::format(
      "<svg class=\"strip\" viewBox=\"0 0 {:.0f} {:.0f}\" role=\"img\" aria-label=\"rpm over the last 15 "
      "seconds, with the windows\" data-low=\"{:.1f}\" data-high=\"{:.1f}\">\n",
      strip_width, strip_height, lowest, highest);
  double label_above = strip_height + 20;
  for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
    const double from = std::max(gauge.windows[w].from_rpm, lowest);
    const double to =
        w + 1 < gauge.windows.size() ? std::min(gauge.windows[w + 1].from_rpm, highest) : highest;
    if (!(from < to)) continue;
    svg += fmt::format("<rect x=\"{:.0f}\" y=\"{:.1f}\" width=\"{:.0f}\" height=\"{:.1f}\" class=\"{}\"/>\n",
                       strip_left, rpm(to), strip_right - strip_left, rpm(from) - rpm(to),
                       w % 2 == 0 ? "band-even" : "band-odd");
    const double y = (rpm(from) + rpm(to)) / 2 + 5;
    if (label_above - y < 15) continue;  // no room for its name
    label_above = y;
    svg += svg_text({strip_right + 8, y}, shortened(printable(gauge.windows[w].name), 14), "name");
  }
  const Ticks ticks = round_ticks(lowest, highest, 5);
  for (const double value : ticks.values)
    svg += svg_text({strip_left - 6, rpm(value) + 5}, fixed(value, 0), "name", Anchor::end);
  svg += fmt::format(
      "<path class=\"track\" d=\"\"/>\n<circle class=\"now\" r=\"5\" cx=\"{:.0f}\" cy=\"-20\"/>\n",
      strip_right);
  return svg + "</svg>\n";
}

RpmRange range_of(const Gauge& gauge, const Profile* profile) {
  RpmRange range;
  if (profile != nullptr && !profile->segments().empty()) {
    range.lowest = profile->lowest_rpm();
    range.highest = profile->highest_rpm();
  } else if (gauge.boundaries() > 0) {
    range.lowest = gauge.windows[1].from_rpm;
    range.highest = gauge.windows.back().from_rpm;
  }
  const double room = std::max(20.0, 0.06 * (range.highest - range.lowest));
  return {std::max(0.0, range.lowest - room), range.highest + room};
}

}  // namespace tachproof
