#include "bench/reports/chart.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include "bench/record/text.h"
#include "bench/reports/style.h"

namespace tachproof {
namespace {

constexpr double width = 760, height = 380;
constexpr double left = 74, right = 20, top = 26, bottom = 48;

constexpr const char* chart_style = R"css(
a { color: inherit; }
.solid { stroke: #111; stroke-width: 1.8; fill: none; }
.dashed { stroke: #111; stroke-width: 1.3; stroke-dasharray: 7 4; fill: none; }
.dotted { stroke: #111; stroke-width: 2; stroke-dasharray: 1.5 4; fill: none; }
.dots { stroke: #111; stroke-width: 2.4; stroke-linecap: round; fill: none; }
.thin { stroke: #111; stroke-width: 0.6; fill: none; }
.limit-line { stroke: #111; stroke-width: 1; stroke-dasharray: 12 4 2 4; fill: none; }
.upright { stroke: #111; stroke-width: 1; stroke-dasharray: 3 3; fill: none; }
pre { font: .85rem/1.4 "DejaVu Sans Mono", Consolas, Menlo, monospace; border: 1px solid #999; padding: .6rem .8rem;
  overflow-x: auto; }
)css";

double on(const Axis& axis, double value, double start, double end) {
  if (!axis.log) return Scale{axis.from, axis.to, start, end}(value);
  return Scale{std::log10(axis.from), std::log10(axis.to), start, end}(std::log10(value));
}

double x_of(const Chart& chart, double x) { return on(chart.x, x, left, width - right); }
double y_of(const Chart& chart, double y) { return on(chart.y, y, height - bottom, top); }

std::vector<std::pair<double, std::string>> ticks_of(const Axis& axis) {
  std::vector<std::pair<double, std::string>> ticks;
  if (!axis.log) {
    const Ticks round = round_ticks(axis.from, axis.to, 8);
    for (const double value : round.values) ticks.emplace_back(value, fixed(value, round.decimals));
    return ticks;
  }
  const double most_labels = 8;
  const double first = std::ceil(std::log10(axis.from) - 1e-9), last = std::floor(std::log10(axis.to) + 1e-9);
  const double step = std::max(1.0, std::ceil((last - first) / most_labels));
  for (double power = first; power <= last; power += step)
    ticks.emplace_back(std::pow(10, power), fmt::format("{:g}", std::pow(10, power)));
  return ticks;
}

std::string frame(const Chart& chart) {
  std::string svg;
  for (const auto& [value, label] : ticks_of(chart.x)) {
    const double x = x_of(chart, value);
    svg += svg_line({x, top}, {x, height - bottom}, "grid");
    svg += svg_text({x, height - bottom + 17}, label, "small", Anchor::middle);
  }
  for (const auto& [value, label] : ticks_of(chart.y)) {
    const double y = y_of(chart, value);
    svg += svg_line({left, y}, {width - right, y}, "grid");
    svg += svg_text({left - 7, y + 4}, label, "small", Anchor::end);
  }
  svg += svg_path({{left, top}, {left, height - bottom}, {width - right, height - bottom}}, "axis");
  svg += svg_text({(left + width - right) / 2, height - 8}, chart.x.title, "", Anchor::middle);
  svg += svg_text({left, top - 10}, chart.y.title, "", Anchor::start);
  return svg;
}

bool shows(const Axis& axis, double value) {
  return std::isfinite(value) && value >= axis.from * (axis.log ? 1 - 1e-9 : 1) - (axis.log ? 0 : 1e-9) &&
         value <= axis.to * (1 + 1e-9);
}

std::string drawn(const Chart& chart, const Curve& curve) {
  std::string svg;
  std::vector<Point> part;
  std::optional<Point> last;
  const auto end_part = [&] {
    if (part.size() > 1) svg += svg_path(part, curve.style);
    if (part.size() == 1) svg += svg_line(part[0], {part[0].x + 0.1, part[0].y}, "dots");
    if (!part.empty()) last = part.back();
    part.clear();
  };
  for (const Point& p : curve.points) {
    if (!shows(chart.x, p.x) || !shows(chart.y, p.y)) {
      end_part();
      continue;
    }
    const Point at{x_of(chart, p.x), y_of(chart, p.y)};
    if (curve.style == "dots") {
      svg += svg_line(at, {at.x + 0.1, at.y}, "dots");
    } else {
      part.push_back(at);
    }
  }
  end_part();
  if (last && !curve.tag.empty()) svg += svg_text({last->x + 3, last->y - 3}, curve.tag, "small");
  return svg;
}

std::string legend(const std::vector<Curve>& curves) {
  std::string html = "<p class=\"legend\">";
  for (const Curve& curve : curves)
    html += fmt::format(
        "<span class=\"swatch\"><svg viewBox=\"0 0 34 14\" aria-hidden=\"true\">{}</svg>{}</span>\n",
        svg_line({2, 7}, {curve.style == "dots" ? 2.1 : 32.0, 7}, curve.style),
        escaped(curve.tag.empty() ? curve.name : curve.tag + ": " + curve.name));
  return html + "</p>\n";
}

}  // namespace

std::string chart_svg(const Chart& chart) {
  std::string svg =
      fmt::format("<div class=\"scroll\"><svg viewBox=\"0 0 {} {}\" role=\"img\">\n<title>{}</title>\n",
                  width, height, escaped(chart.y.title + " against " + chart.x.title));
  svg += frame(chart);
  for (const Curve& curve : chart.curves) svg += drawn(chart, curve);
  for (const auto& [x, label] : chart.marks) {
    if (!shows(chart.x, x)) continue;
    const double at = x_of(chart, x);
    const bool room = at < width - 170;
    svg += svg_line({at, top}, {at, height - bottom}, "upright");
    svg += svg_text({at + (room ? 5 : -5), top + 12}, label, "strong", room ? Anchor::start : Anchor::end);
  }
  return svg + "</svg></div>\n" + legend(chart.curves);
}

Axis fitted(std::string title, const std::vector<Curve>& curves, bool log, int decades) {
  double lowest = std::numeric_limits<double>::infinity(), highest = -lowest;
  for (const Curve& curve : curves)
    for (const Point& p : curve.points) {
      if (!std::isfinite(p.y) || (log && p.y <= 0)) continue;
      lowest = std::min(lowest, p.y);
      highest = std::max(highest, p.y);
    }
  Axis axis{std::move(title), 0, 1, log};
  if (!(lowest <= highest)) {
    if (log) axis.from = 0.1;
    return axis;
  }
  if (log) {
    const double top_power = std::ceil(std::log10(highest) + 1e-9);
    const double low_power = std::floor(std::log10(lowest) - 1e-9);
    axis.to = std::pow(10, top_power);
    axis.from = std::pow(10, std::max(std::min(low_power, top_power - 1), top_power - decades));
  } else {
    const double margin = highest > lowest ? 0.05 * (highest - lowest) : 1;
    axis.from = lowest - margin;
    axis.to = highest + margin;
  }
  return axis;
}

std::string chart_page(std::string_view title, const std::string& body) {
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src "
      "'unsafe-inline'\">\n"
      "<title>{}</title>\n<style>{}{}</style>\n</head>\n<body>\n{}</body>\n</html>\n",
      escaped(title), report_style, chart_style, body);
}

}  // namespace tachproof
