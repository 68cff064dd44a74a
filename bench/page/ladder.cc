#include "bench/page/ladder.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "bench/reports/svg.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

constexpr double top_y = 16, ladder_row = 27, flag_row = 32, least_height = 560, band_width = 74,
                 lamp_step = 24, lamp_radius = 9;

// A mark for each lamp: its colour and hatch, with stripes where it blinks; an empty socket where it is dark.
std::string lamps_at(const Gauge& gauge, const Palette& palette, const std::string& prefix, const Cue& cue,
                     Point at, double radius, double step) {
  std::string svg;
  for (std::size_t l = 0; l < gauge.lamps.size(); ++l) {
    const Lamp& lamp = gauge.lamps[l];
    const double x = at.x + step * static_cast<double>(l);
    std::string fill;
    for (const std::string& colour : lamp.colours) {
      const Channels bit = gauge.channel(lamp.id, colour);
      if ((cue.steady & bit) != 0) fill = fmt::format("{}lit-{}", prefix, palette.index(colour));
      if ((cue.blinking & bit) != 0) fill = fmt::format("{}flash-{}", prefix, palette.index(colour));
    }
    svg += fill.empty()
               ? fmt::format("<circle cx=\"{:.1f}\" cy=\"{:.1f}\" r=\"{:.1f}\" class=\"dark-lamp\"/>", x,
                             at.y, radius)
               : fmt::format(
                     "<circle cx=\"{:.1f}\" cy=\"{:.1f}\" r=\"{:.1f}\" class=\"lit-lamp\" "
                     "fill=\"url(#{})\"/>",
                     x, at.y, radius, fill);
  }
  return svg;
}

// The middles of the bands, moved apart as far as their labels need; downwards in y, upwards in rpm.
std::vector<double> spread(std::vector<double> wanted, double lowest_y, double highest_y,
                           double row_height = ladder_row) {
  double below = lowest_y + row_height / 2;
  for (double& y : wanted) below = y = std::min(y, below - row_height);
  double above = highest_y - row_height / 2;
  for (std::size_t i = wanted.size(); i-- > 0;) above = wanted[i] = std::max(wanted[i], above + row_height);
  return wanted;
}

class Ladder {
 public:
  Ladder(const Gauge& gauge, const Palette& palette, const std::string& prefix,
         const std::optional<RpmRange>& scale)
      : gauge_(gauge), palette_(palette), prefix_(prefix), range_(scale ? *scale : range_of(gauge, nullptr)) {
    height_ = std::max(least_height, ladder_row * static_cast<double>(gauge.windows.size() + 1));
    rpm_ = {range_.lowest, range_.highest, top_y + height_, top_y};
    bands_x_ = gauge.drive ? 232 : 172;
    labels_x_ = bands_x_ + band_width + 34;
    width_ = labels_x_ + lamp_step * static_cast<double>(gauge.lamps.size()) + 180;
  }

  std::string svg() const {
    std::string svg = fmt::format(
        "<svg class=\"ladder\" viewBox=\"0 0 {:.0f} {:.0f}\" role=\"group\" aria-label=\"the windows over "
        "rpm\" "
        "data-low=\"{}\" data-high=\"{}\" data-top=\"{:.0f}\" data-bottom=\"{:.0f}\" data-left=\"{:.0f}\" "
        "data-right=\"{:.0f}\">\n",
        width_, height_ + 2 * top_y + 20, number_text(range_.lowest), number_text(range_.highest), top_y,
        top_y + height_, bands_x_, bands_x_ + band_width);
    svg += fmt::format(
        "<defs><pattern id=\"{}foot\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\"><path "
        "class=\"foot-line\" d=\"M-1 1L1-1M0 6L6 0M5 7L7 5\"/></pattern></defs>\n",
        prefix_);
    return svg + bands() + feet() + anchors() + axes() + labels() +
           fmt::format("<path class=\"needle\" d=\"M{0:.0f} -40h-12l-6-5v10l6-5\" hidden/>\n", bands_x_) +
           "</svg>\n";
  }

 private:
  double y(double rpm) const { return rpm_(std::clamp(rpm, range_.lowest, range_.highest)); }
  double from(std::size_t w) const { return gauge_.windows[w].from_rpm; }
  double to(std::size_t w) const { return w + 1 < gauge_.windows.size() ? from(w + 1) : range_.highest; }
  bool seen(std::size_t w) const { return from(w) < range_.highest && to(w) > range_.lowest; }

  std::string bands() const {
    std::string svg;
    for (std::size_t w = 0; w < gauge_.windows.size(); ++w) {
      if (!seen(w)) continue;
      svg += fmt::format(
          "<rect x=\"{:.1f}\" y=\"{:.2f}\" width=\"{:.1f}\" height=\"{:.2f}\" class=\"{}\" "
          "data-window=\"{}\"/>\n",
          bands_x_, y(to(w)), band_width, y(from(w)) - y(to(w)), w % 2 == 0 ? "band-even" : "band-odd", w);
    }
    return svg + count_ins();
  }

  // A stair beside the bands of each count-in.
  std::string count_ins() const {
    std::string svg;
    for (std::size_t w = 0; w < gauge_.windows.size(); ++w) {
      if (!gauge_.windows[w].name.starts_with("count-in-")) continue;
      const double x = bands_x_ + band_width + 4;
      svg += fmt::format("<path class=\"stair\" d=\"M{0:.1f} {1:.2f}V{2:.2f}m-3 0h6\"/>\n", x, y(from(w)),
                         y(to(w)));
    }
    return svg;
  }

  std::string axes() const {
    std::string svg;
    const Ticks ticks = round_ticks(range_.lowest, range_.highest, 10);
    for (const double value : ticks.values) {
      svg += svg_line({bands_x_ - 6, y(value)}, {bands_x_, y(value)}, "axis");
      svg += svg_text({bands_x_ - 10, y(value) + 5}, fixed(value, ticks.decimals), "name",
                      tachproof::Anchor::end);
    }
    svg += svg_line({bands_x_, y(range_.lowest)}, {bands_x_, y(range_.highest)}, "axis");
    svg += svg_text({bands_x_ - 10, top_y + height_ + 22}, "rpm", "name", tachproof::Anchor::end);
    if (!gauge_.drive) return svg;
    const double per_rpm = in_unit(gauge_.drive->speed_at({1, 0}).value, gauge_.drive->said_in);
    const double x = bands_x_ - 64;
    const Ticks speeds = round_ticks(range_.lowest * per_rpm, range_.highest * per_rpm, 8);
    for (const double value : speeds.values) {
      svg += svg_line({x - 6, y(value / per_rpm)}, {x, y(value / per_rpm)}, "axis");
      svg += svg_text({x - 10, y(value / per_rpm) + 5}, fixed(value, speeds.decimals), "name",
                      tachproof::Anchor::end);
    }
    svg += svg_line({x, y(range_.lowest)}, {x, y(range_.highest)}, "axis");
    return svg + svg_text({x - 10, top_y + height_ + 22}, word(gauge_.drive->said_in), "name",
                          tachproof::Anchor::end);
  }

  // From the falling threshold to the rising one: there the unit shows what it showed before.
  std::string feet() const {
    std::string svg;
    for (std::size_t b = 1; b < gauge_.windows.size(); ++b) {
      const double low = gauge_.falling_rpm(b), high = gauge_.rising_rpm(b);
      if (!(high > low) || low > range_.highest || high < range_.lowest) continue;
      svg += fmt::format(
          "<rect x=\"{:.1f}\" y=\"{:.2f}\" width=\"{:.1f}\" height=\"{:.2f}\" class=\"foot\" "
          "fill=\"url(#{}foot)\"/>\n",
          bands_x_, y(high), band_width, std::max(y(low) - y(high), 1.5), prefix_);
    }
    return svg;
  }

  std::string labels() const {
    std::vector<std::size_t> shown;
    std::vector<double> middles;
    for (std::size_t w = 0; w < gauge_.windows.size(); ++w)
      if (seen(w)) {
        shown.push_back(w);
        middles.push_back((y(std::max(from(w), range_.lowest)) + y(std::min(to(w), range_.highest))) / 2);
      }
    const std::vector<double> rows = spread(middles, top_y + height_, top_y);
    std::string svg;
    for (std::size_t i = 0; i < shown.size(); ++i) {
      const Window& window = gauge_.windows[shown[i]];
      svg += fmt::format("<g class=\"rung\" data-window=\"{}\"><title>{}: {}</title>", shown[i],
                         escaped(window.name), escaped(gauge_.describe(window.cue)));
      svg += fmt::format("<path class=\"leader\" d=\"M{:.1f} {:.2f}L{:.1f} {:.2f}\"/>",
                         bands_x_ + band_width + 8, middles[i], labels_x_ - 12, rows[i]);
      svg += lamps_at(gauge_, palette_, prefix_, window.cue, {labels_x_, rows[i]}, lamp_radius, lamp_step);
      const double x = labels_x_ + lamp_step * static_cast<double>(gauge_.lamps.size());
      svg += svg_text(
          {x, rows[i] + 5},
          shortened(printable(window.name), 14) + "  " + number_text(std::round(window.from_rpm * 10) / 10),
          "rung-name");
      svg += "</g>\n";
    }
    return svg;
  }

  std::string anchors() const {
    std::vector<std::size_t> order(gauge_.anchors.size());
    for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
    std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
      return gauge_.anchors[a].second < gauge_.anchors[b].second;
    });
    std::vector<double> wanted;
    for (const std::size_t i : order) wanted.push_back(y(gauge_.anchors[i].second));
    const std::vector<double> rows =
        spread(wanted, top_y + height_ + flag_row / 2, top_y - flag_row / 2, flag_row);
    std::string svg;
    for (std::size_t k = 0; k < order.size(); ++k) {
      const auto& [name, rpm] = gauge_.anchors[order[k]];
      svg += fmt::format(
          "<g class=\"anchor\" data-anchor=\"{0}\" data-rpm=\"{1}\" aria-label=\"anchor {2}\"><path "
          "class=\"anchor-line\" d=\"M104 {3:.2f}L116 {4:.2f}H{5:.1f}\"/><rect class=\"flag\" x=\"2\" "
          "y=\"{6:.2f}\" "
          "width=\"102\" height=\"28\" rx=\"4\"/>{7}</g>\n",
          order[k], number_text(rpm), escaped(name), rows[k], wanted[k], bands_x_ + band_width, rows[k] - 14,
          svg_text({53, rows[k] + 5}, shortened(printable(name), 12), "flag-name",
                   tachproof::Anchor::middle));
    }
    return svg;
  }

  const Gauge& gauge_;
  const Palette& palette_;
  const std::string& prefix_;
  RpmRange range_;
  Scale rpm_;
  double height_ = 0, width_ = 0, bands_x_ = 0, labels_x_ = 0;
};

}  // namespace

std::string ladder_svg(const Gauge& gauge, const Palette& palette, const std::string& prefix,
                       const std::optional<RpmRange>& scale) {
  return Ladder(gauge, palette, prefix, scale).svg();
}

std::string small_ladder_svg(const Gauge& gauge, const Palette& palette, const std::string& prefix) {
  constexpr double least = 190, band = 34, step = 16, row = 15;
  const double height = std::max(least, row * static_cast<double>(gauge.windows.size() + 1));
  const RpmRange range = range_of(gauge, nullptr);
  const Scale rpm{range.lowest, range.highest, height - 4, 4};
  std::string drawn;
  std::vector<double> middles;
  std::vector<const Window*> windows;
  for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
    const double from = std::max(gauge.windows[w].from_rpm, range.lowest);
    const double to = w + 1 < gauge.windows.size() ? gauge.windows[w + 1].from_rpm : range.highest;
    if (!(from < to)) continue;
    drawn += fmt::format("<rect x=\"2\" y=\"{:.2f}\" width=\"{:.0f}\" height=\"{:.2f}\" class=\"{}\"/>\n",
                         rpm(to), band, rpm(from) - rpm(to), w % 2 == 0 ? "band-even" : "band-odd");
    middles.push_back((rpm(from) + rpm(to)) / 2);
    windows.push_back(&gauge.windows[w]);
  }
  const std::vector<double> rows = spread(middles, height, 0, row);
  for (std::size_t i = 0; i < rows.size(); ++i)
    drawn += lamps_at(gauge, palette, prefix, windows[i]->cue, {band + 20, rows[i]}, 6, step);
  return fmt::format(
      "<svg class=\"small-ladder\" viewBox=\"0 0 {:.0f} {:.0f}\" role=\"img\" aria-label=\"{} windows from "
      "{} to {} "
      "rpm\">\n{}</svg>\n",
      band + 20 + step * static_cast<double>(gauge.lamps.size()), height, gauge.windows.size(),
      fixed(range.lowest, 0), fixed(range.highest, 0), drawn);
}

std::string ladder_table(const Gauge& gauge) {
  std::string rows;
  for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
    const Window& window = gauge.windows[w];
    const auto rpm = [&](double value) {
      return w == 0 ? std::string("-") : number_text(std::round(value * 100) / 100);
    };
    rows += fmt::format(
        "<tr><th scope=\"row\">{}</th><td class=\"n\">{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td>{}"
        "<td>{}</td></tr>\n",
        escaped(window.name), number_text(std::round(window.from_rpm * 100) / 100),
        w == 0 ? "-" : rpm(gauge.rising_rpm(w)), w == 0 ? "-" : rpm(gauge.falling_rpm(w)),
        gauge.drive ? fmt::format("<td class=\"n\">{}</td>",
                                  escaped(speed_words(
                                      gauge.drive->speed_when_set(window.from_rpm, gauge.tolerance.rpm),
                                      gauge.drive->said_in)))
                    : "",
        escaped(gauge.describe(window.cue)));
  }
  return fmt::format(
      "<div class=\"scroll\"><table><thead><tr><th scope=\"col\">window</th><th scope=\"col\" "
      "class=\"n\">from, "
      "rpm</th><th scope=\"col\" class=\"n\">on at</th><th scope=\"col\" class=\"n\">off below</th>{}<th "
      "scope=\"col\">shows</th></tr></thead>\n<tbody>\n{}</tbody></table></div>\n",
      gauge.drive ? "<th scope=\"col\" class=\"n\">speed</th>" : "", rows);
}

std::string play_json(const Gauge& gauge) {
  const auto bits = [](Channels channels) {
    Json list = Json::array();
    for (std::size_t i = 0; i < max_channels; ++i)
      if ((channels >> i & 1) != 0) list.push_back(i);
    return list;
  };
  Json windows = Json::array();
  for (std::size_t w = 0; w < gauge.windows.size(); ++w)
    windows.push_back({{"name", text_to_json(gauge.windows[w].name)},
                       {"rising", w == 0 ? Json(nullptr) : Json(gauge.rising_rpm(w))},
                       {"falling", w == 0 ? Json(nullptr) : Json(gauge.falling_rpm(w))},
                       {"steady", bits(gauge.windows[w].cue.steady)},
                       {"blinking", bits(gauge.windows[w].cue.blinking)}});
  const RpmRange range = range_of(gauge, nullptr);
  Json play = {{"windows", windows},
               {"hz", gauge.blink ? gauge.blink->hz : 0},
               {"duty", gauge.blink ? gauge.blink->duty : 0.5},
               {"low", range.lowest},
               {"high", range.highest},
               {"step", gauge.resolution_rpm > 0 ? gauge.resolution_rpm : 1}};
  if (gauge.drive) {
    play["speed_per_rpm"] = in_unit(gauge.drive->speed_at({1, 0}).value, gauge.drive->said_in);
    play["speed_in"] = word(gauge.drive->said_in);
  }
  return json_text(play);
}

}  // namespace tachproof
