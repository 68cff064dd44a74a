#include "bench/page/face.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/record/text.h"
#include "bench/reports/hatch.h"
#include "bench/reports/svg.h"

namespace tachproof {
namespace {

// A lamp's disc stays under the area from which flashing counts as general (WCAG 2.2, 2.3.1).
constexpr double lamp_place = 130, radius = 38, face_height = 176;
constexpr double strip_width = 560, strip_height = 300, strip_left = 60, strip_right = 420;
constexpr double strip_top = 8, strip_bottom = 292;

std::size_t window_at(const Gauge& gauge, double rpm) {
  std::size_t window = 0;
  while (window + 1 < gauge.windows.size() && gauge.windows[window + 1].from_rpm <= rpm) ++window;
  return window;
}

// The rpm between which the scale is even: the boundaries, so that a window of 100 rpm is as high as one of
// 3000. A driver's ladder is read by windows.
std::vector<double> strip_knots(const Gauge& gauge, double lowest, double highest) {
  std::vector<double> knots{lowest};
  for (const Window& window : gauge.windows)
    if (window.from_rpm > lowest && window.from_rpm < highest) knots.push_back(window.from_rpm);
  knots.push_back(std::max(highest, knots.back() + 1));
  return knots;
}

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
    bool blinks = false;
    svg += fmt::format("<circle cx=\"{:.0f}\" cy=\"46\" r=\"{:.0f}\" class=\"socket\"/>\n", x, radius + 6);
    for (const std::string& colour : gauge.lamps[lamp].colours) {
      const Channels bit = Channels{1} << channel;
      const bool on = lit != nullptr && ((lit->steady | lit->blinking) & bit) != 0;
      if (on) shown = escaped(colour);
      if (on) blinks = (lit->blinking & bit) != 0;
      svg += fmt::format(
          "<circle cx=\"{:.0f}\" cy=\"46\" r=\"{:.0f}\" class=\"lit{}\" data-channel=\"{}\" data-lamp=\"{}\" "
          "data-word=\"{}\" fill=\"url(#{}lit-{})\"/>\n",
          x, radius, on ? " on" : "", channel++, lamp, escaped(colour), prefix, palette.index(colour));
    }
    svg += svg_text({x, 108}, shortened(printable(gauge.lamps[lamp].id), 11), "name", Anchor::middle);
    svg += fmt::format(
        "<text x=\"{0:.0f}\" y=\"136\" text-anchor=\"middle\" class=\"word\" data-lamp=\"{1}\">{2}</text>\n"
        "<text x=\"{0:.0f}\" y=\"160\" text-anchor=\"middle\" class=\"how\" data-lamp=\"{1}\">{3}</text>\n",
        x, lamp, shown, blinks ? "blinking" : "");
  }
  return svg + "</svg>\n";
}

std::string strip_svg(const Gauge& gauge, double lowest, double highest) {
  const std::vector<double> knots = strip_knots(gauge, lowest, highest);
  const double band = (strip_bottom - strip_top) / static_cast<double>(knots.size() - 1);
  std::string places;
  for (std::size_t k = 0; k < knots.size(); ++k)
    places += fmt::format("{}{:.2f},{:.1f}", k == 0 ? "" : " ", knots[k],
                          strip_bottom - band * static_cast<double>(k));
  std::string svg = fmt::format(
      "<svg class=\"strip\" viewBox=\"0 0 {:.0f} {:.0f}\" role=\"img\" aria-label=\"rpm over the last 15 "
      "seconds, with the windows as bands\" data-knots=\"{}\">\n",
      strip_width, strip_height, places);
  for (std::size_t k = 0; k + 1 < knots.size(); ++k) {
    const double top = strip_bottom - band * static_cast<double>(k + 1);
    const std::size_t window = window_at(gauge, (knots[k] + knots[k + 1]) / 2);
    svg += fmt::format("<rect x=\"{:.0f}\" y=\"{:.1f}\" width=\"{:.0f}\" height=\"{:.1f}\" class=\"{}\"/>\n",
                       strip_left, top, strip_right - strip_left, band,
                       window % 2 == 0 ? "band-even" : "band-odd");
    if (band >= 14)
      svg += svg_text({strip_right + 8, top + band / 2 + 5},
                      shortened(printable(gauge.windows[window].name), 14), "name");
    if (k > 0 && band >= 14)
      svg += svg_text({strip_left - 6, top + band + 5}, fixed(knots[k], 0), "name", Anchor::end);
  }
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
