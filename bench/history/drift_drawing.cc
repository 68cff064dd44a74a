#include "bench/history/drift_drawing.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bench/history/history_report.h"
#include "bench/record/text.h"
#include "bench/reports/html_tables.h"
#include "bench/reports/svg.h"

namespace tachproof {
namespace {

constexpr double width = 460, left = 44, right = 452, top = 22, height = 120;  // of a drift drawing

std::string name_of(const std::string& boundary, Direction direction) {
  return boundary + ", " + std::string(word(direction));
}

// The deviations that a drawing has to hold, its tolerance always among them.
Scale deviation_scale(double lowest, double highest, double tolerance, double start, double end) {
  if (std::isfinite(tolerance)) {
    lowest = std::min(lowest, -tolerance);
    highest = std::max(highest, tolerance);
  }
  const double room = std::max(0.08 * (highest - lowest), 1e-3);
  return {lowest - room, highest + room, start, end};
}

std::string svg(double wide, double total_height, const std::string& label, const std::string& inside) {
  return fmt::format("<svg viewBox=\"0 0 {:.0f} {:.0f}\" role=\"img\" aria-label=\"{}\">\n{}</svg>\n", wide,
                     total_height, escaped(label), inside);
}

std::string time_axis(const Drift& d, const Scale& x) {
  const std::int64_t first = d.points.front().at_s;
  const std::int64_t last = d.points.back().at_s;
  const double y = top + height;
  std::string out = svg_line({left, y}, {right, y}, "axis");
  const bool with_clock = last - first < 3 * 86'400;
  constexpr int ticks = 4;
  constexpr double letter = 6.4;  // of "small", 11 px
  double taken = 0;               // by the label before
  std::string before;
  for (int i = 0; i <= ticks; ++i) {
    if (first == last && i != ticks / 2) continue;
    const std::int64_t at = first + (last - first) * i / ticks;
    const double at_x = x(static_cast<double>(at));
    out += svg_line({at_x, y}, {at_x, y + 4}, "axis");
    const std::string text = axis_time(at, with_clock);
    const double half = letter * static_cast<double>(text.size()) / 2;
    const double middle = std::min(at_x, width - half);
    if (text == before || middle - half < taken) continue;
    out += svg_text({middle, y + 17}, text, "small", Anchor::middle);
    taken = middle + half;
    before = text;
  }
  return out;
}

std::string deviation_axis(const Scale& y) {
  std::string out = svg_line({left, top}, {left, top + height}, "axis");
  const Ticks ticks = round_ticks(y.from, y.to, 5);
  for (const double value : ticks.values)
    out += svg_line({left, y(value)}, {right, y(value)}, "grid") +
           svg_text({left - 7, y(value) + 4}, with_sign(value, ticks.decimals), "small", Anchor::end);
  return out;
}

// Hollow where the value is undecided.
std::string point_with_bar(double x, const DriftPoint& p, const Scale& y) {
  const double high = y(p.deviation_rpm + p.expanded_uncertainty_rpm);
  const double low = y(p.deviation_rpm - p.expanded_uncertainty_rpm);
  return svg_line({x, low}, {x, high}, "axis") + svg_line({x - 4, low}, {x + 4, low}, "axis") +
         svg_line({x - 4, high}, {x + 4, high}, "axis") +
         svg_rect({x - 3, y(p.deviation_rpm) - 3}, 6, 6, p.decided ? "point" : "spread");
}

// In tolerances; 0 where nothing is known.
double furthest_of(const std::vector<Drift>& drifts) {
  double furthest = 0;
  for (const Drift& d : drifts)
    for (const DriftPoint& p : d.points)
      if (d.tolerance_rpm > 0) furthest = std::max(furthest, std::fabs(p.deviation_rpm) / d.tolerance_rpm);
  return furthest;
}

bool settings_change_before(const Drift& d, std::size_t i) {
  return i > 0 && d.points[i].settings_sha256 != d.points[i - 1].settings_sha256;
}

// The decided points of each stretch of the same settings; `place` puts one on the drawing.
template <class Place>
std::vector<std::vector<Point>> stretches(const Drift& d, Place place) {
  std::vector<std::vector<Point>> all(1);
  for (std::size_t i = 0; i < d.points.size(); ++i) {
    if (settings_change_before(d, i)) all.emplace_back();
    if (d.points[i].decided) all.back().push_back(place(d.points[i]));
  }
  return all;
}

// Two runs of other settings have no line between them, and a dotted one across tells why. A value that is
// undecided has no line to it: that it moved is not known.
std::string broken_line(const Drift& d, const Scale& x, const Scale& y) {
  std::string out;
  for (const std::vector<Point>& line : stretches(d, [&](const DriftPoint& p) {
         return Point{x(static_cast<double>(p.at_s)), y(p.deviation_rpm)};
       }))
    if (!line.empty()) out += svg_path(line, "rpm");
  for (std::size_t i = 1; i < d.points.size(); ++i) {
    if (!settings_change_before(d, i)) continue;
    const double between =
        (x(static_cast<double>(d.points[i - 1].at_s)) + x(static_cast<double>(d.points[i].at_s))) / 2;
    out += svg_line({between, top}, {between, top + height}, "cut");
  }
  return out;
}

// One row a boundary: a dot a unit, the mean and one s to either side.
std::string spread_drawing(const std::vector<const Spread*>& rows) {
  constexpr double names = 170, end = 385, row = 26;  // narrow: read on a phone too
  double lowest = 0, highest = 0;
  for (const Spread* s : rows) {
    if (std::isfinite(s->tolerance_rpm)) highest = std::max(highest, s->tolerance_rpm);
    for (const double value : s->deviations_rpm) {
      lowest = std::min(lowest, value);
      highest = std::max(highest, value);
    }
  }
  const Scale x = deviation_scale(std::min(lowest, -highest), highest, not_measured, names, end);
  const double bottom = top + row * static_cast<double>(rows.size());
  const Ticks ticks = round_ticks(x.from, x.to, 5);
  std::string inside;
  for (const double value : ticks.values)
    inside += svg_line({x(value), top}, {x(value), bottom}, "grid") +
              svg_text({x(value), bottom + 16}, with_sign(value, ticks.decimals), "small", Anchor::middle);
  inside +=
      svg_line({x(0), top}, {x(0), bottom}, "nominal") + svg_line({names, bottom}, {end, bottom}, "axis");
  double y = top + row / 2;
  for (const Spread* s : rows) {
    inside +=
        svg_text({names - 8, y + 4}, shortened(name_of(s->boundary, s->direction), 26), "small", Anchor::end);
    if (std::isfinite(s->tolerance_rpm)) {
      const double from = x(-s->tolerance_rpm);
      inside += svg_rect({from, y - 9}, x(s->tolerance_rpm) - from, 18, "within");
      for (const double limit : {-s->tolerance_rpm, s->tolerance_rpm})
        inside += svg_line({x(limit), y - 9}, {x(limit), y + 9}, "tolerance");
    }
    const Capability& c = s->capability;
    if (c.n > 1) {
      inside += svg_line({x(c.mean - c.s), y + 7}, {x(c.mean + c.s), y + 7}, "spread") +
                svg_line({x(c.mean), y + 3}, {x(c.mean), y + 11}, "spread");
    }
    for (const double value : s->deviations_rpm) inside += svg_rect({x(value) - 3, y - 5}, 6, 6, "point");
    y += row;
  }
  return svg(400, bottom + 26, "spread of the units over each boundary", inside);
}

std::string spread_row(const Spread& s) {
  const Capability& c = s.capability;
  const auto number = [](const char* of, const std::string& text) {
    return fmt::format("<td class=\"n\" data-of=\"{}\">{}</td>", of, text);
  };
  const bool beyond_telling = c.cpk > most_cpk;
  const std::string limits =
      std::isfinite(c.cpk_lower) && !beyond_telling
          ? fmt::format("{} to {}", html_number(c.cpk_lower, 2), html_number(c.cpk_upper, 2))
          : "–";
  return fmt::format("<tr><td class=\"w\">{}</td><td class=\"w\">{}</td>", escaped(s.boundary),
                     word(s.direction)) +
         number("units", std::to_string(c.n)) + number("mean", html_number(c.mean, 2)) +
         number("s", html_number(c.s, 2)) + number("allowed", "± " + html_number(s.tolerance_rpm, 1)) +
         number("Cpk", beyond_telling ? "&gt; 10" : html_number(c.cpk, 2)) + number("95 %", limits) +
         number("left out", s.left_out == 0 ? "–" : std::to_string(s.left_out)) + "</tr>\n";
}

}  // namespace

std::string drift_drawing(const Drift& d) {
  double lowest = d.points[0].deviation_rpm, highest = lowest;
  for (const DriftPoint& p : d.points) {
    lowest = std::min(lowest, p.deviation_rpm - p.expanded_uncertainty_rpm);
    highest = std::max(highest, p.deviation_rpm + p.expanded_uncertainty_rpm);
  }
  const Scale y = deviation_scale(lowest, highest, d.tolerance_rpm, top + height, top);
  const auto first = static_cast<double>(d.points.front().at_s);
  const auto last = static_cast<double>(d.points.back().at_s);
  const Scale x{first == last ? first - 1 : first, first == last ? last + 1 : last, left + 24, right - 24};
  std::string inside = svg_text({left, 13}, name_of(d.boundary, d.direction), "strong");
  if (std::isfinite(d.tolerance_rpm)) {
    const double high = y(d.tolerance_rpm);
    inside += svg_rect({left, high}, right - left, y(-d.tolerance_rpm) - high, "within");
    for (const double limit : {-d.tolerance_rpm, d.tolerance_rpm})
      inside += svg_line({left, y(limit)}, {right, y(limit)}, "tolerance");
  }
  inside += deviation_axis(y) + svg_line({left, y(0)}, {right, y(0)}, "nominal") + time_axis(d, x);
  inside += broken_line(d, x, y);
  for (const DriftPoint& p : d.points) inside += point_with_bar(x(static_cast<double>(p.at_s)), p, y);
  return svg(width, top + height + 26, name_of(d.boundary, d.direction) + ": deviation over time", inside);
}

std::string change_words(const Drift& d) {
  const std::string runs = d.points.size() == 1 ? "one run" : fmt::format("{} runs", d.points.size());
  const std::string undecided = d.undecided() == 0 ? "" : fmt::format(", {} undecided", d.undecided());
  if (!d.has_change()) return runs + undecided;
  const int decimals = decimals_for(d.change_uncertainty_rpm());
  return fmt::format("{}{}; since the {} {} rpm, U = {} rpm{}", runs, undecided,
                     d.settings_changed() ? "settings changed" : "first",
                     html_signed(d.change_rpm(), decimals), fixed(d.change_uncertainty_rpm(), decimals),
                     std::fabs(d.change_rpm()) > d.change_uncertainty_rpm() ? ": <b>it has moved</b>" : "");
}

std::string small_drift_drawing(const std::vector<Drift>& drifts, const std::string& unit) {
  constexpr double wide = 144, tall = 36;
  double first = 0, last = 0;
  const double furthest = std::max(1.0, furthest_of(drifts));
  bool any = false;
  for (const Drift& d : drifts) {
    if (!(d.tolerance_rpm > 0)) continue;
    for (const DriftPoint& p : d.points) {
      const auto at = static_cast<double>(p.at_s);
      first = any ? std::min(first, at) : at;
      last = any ? std::max(last, at) : at;
      any = true;
    }
  }
  if (!any) return "";
  const Scale x{first == last ? first - 1 : first, first == last ? last + 1 : last, 4, wide - 4};
  const Scale y{-1.1 * furthest, 1.1 * furthest, tall - 1, 1};
  std::string inside =
      svg_rect({0, y(1)}, wide, y(-1) - y(1), "within") + svg_line({0, y(0)}, {wide, y(0)}, "nominal");
  for (const Drift& d : drifts) {
    if (!(d.tolerance_rpm > 0)) continue;
    for (const std::vector<Point>& line : stretches(d, [&](const DriftPoint& p) {
           return Point{x(static_cast<double>(p.at_s)), y(p.deviation_rpm / d.tolerance_rpm)};
         })) {
      if (line.size() > 1) inside += svg_path(line, "rpm");
      if (line.size() == 1) inside += svg_rect({line[0].x - 1.5, line[0].y - 1.5}, 3, 3, "mark");
    }
  }
  return fmt::format(
      "<svg class=\"drifting\" viewBox=\"0 0 {:.0f} {:.0f}\" role=\"img\" aria-label=\"{}\">\n{}</svg>\n",
      wide, tall,
      escaped(fmt::format("{}: where its boundaries were; the furthest at {:.0f} % of the tolerance", unit,
                          100 * furthest_of(drifts))),
      inside);
}

std::string spreads_html(const std::vector<Spread>& spreads) {
  if (spreads.empty()) return "";
  std::string html =
      "<h2>Spread over units</h2>\n<p>The last result of every unit: squares. Bar: mean and one standard "
      "deviation s. Cpk = min(upper − mean, mean − lower) / 3s, from the overall s, which includes the "
      "bench’s own scatter. Its 95 % limits are wide for few units. Left out: results whose U is above the "
      "tolerance.</p>\n";
  for (std::size_t i = 0; i < spreads.size();) {
    std::vector<const Spread*> rows;
    const Spread& first = spreads[i];
    for (; i < spreads.size() && spreads[i].gauge == first.gauge && spreads[i].simulated == first.simulated;
         ++i)
      rows.push_back(&spreads[i]);
    html += "<h3>" + escaped(first.gauge) + (first.simulated ? ": SIMULATED units" : "") +
            "</h3>\n<figure>"
            "<div class=\"scroll narrow\">" +
            spread_drawing(rows) +
            "</div></figure>\n<div class=\"scroll\"><table "
            "class=\"spreads\">\n<thead><tr><th>boundary</th><th></th><th "
            "class=\"n\">units</th>"
            "<th class=\"n\">mean, rpm</th><th class=\"n\">s, rpm</th><th class=\"n\">allowed, rpm</th>"
            "<th class=\"n\">Cpk</th><th class=\"n\">95 %</th><th class=\"n\">left "
            "out</th></tr></thead>\n<tbody>\n";
    for (const Spread* s : rows) html += spread_row(*s);
    html += "</tbody></table></div>\n";
  }
  return html;
}

}  // namespace tachproof
