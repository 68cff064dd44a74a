#include "bench/page/flicker_drawing.h"

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

// Rates span many decades: down to this a minute they are drawn.
constexpr double least_rate = 0.01;

std::string rate_text(double per_min) {
  return std::isfinite(per_min) ? fmt::format("{:.2g}", per_min) : std::string("not known");
}

// Two digits that matter, without an exponent where people read one.
std::string per_minute(double rate) {
  if (!std::isfinite(rate)) return rate_text(rate);
  if (rate >= 100) return fixed(rate, 0);
  if (rate >= 10) return fixed(rate, 1);
  return rate >= 0.095 || rate == 0 ? fixed(rate, rate == 0 ? 0 : rate < 1 ? 2 : 1) : rate_text(rate);
}

double log_of(double rate) { return std::log10(std::max(rate, least_rate)); }

std::string curve_svg(const DeadbandRecord& record, const BoundaryCurve& curve) {
  constexpr double left = 64, right = 640, top = 12, bottom = 290;
  double most = record.ask.limit_per_min;
  for (const WidthRow& row : curve.rows)
    for (const double rate : {row.rate_per_min, row.upper_per_min})
      if (std::isfinite(rate)) most = std::max(most, rate);
  const double widest = std::max(1.0, curve.rows.back().width_rpm);
  const Scale x{0, widest, left, right};
  const Scale y{std::log10(least_rate), std::max(std::ceil(std::log10(most)), 0.0), bottom, top};
  std::string svg = fmt::format(
      "<svg class=\"curve\" viewBox=\"0 0 680 340\" role=\"img\" aria-label=\"lamp changes a minute against "
      "the width "
      "of the deadband; the table has the numbers\" data-left=\"{:.0f}\" data-right=\"{:.0f}\" "
      "data-widest=\"{}\">\n",
      left, right, number_text(widest));
  for (double decade = y.from; decade <= y.to + 1e-9; decade += 1) {
    svg += svg_line({left, y(decade)}, {right, y(decade)}, "grid");
    svg += svg_text({left - 6, y(decade) + 5}, number_text(std::pow(10, decade)), "name", Anchor::end);
  }
  for (const double width : round_ticks(0, widest, 10).values)
    svg += svg_text({x(width), bottom + 20}, number_text(width), "name", Anchor::middle);
  svg += svg_text({right, bottom + 40}, "width of the deadband, rpm", "name", Anchor::end);
  std::vector<Point> rates, uppers;
  for (const WidthRow& row : curve.rows) {
    if (std::isfinite(row.rate_per_min)) rates.push_back({x(row.width_rpm), y(log_of(row.rate_per_min))});
    if (std::isfinite(row.upper_per_min)) uppers.push_back({x(row.width_rpm), y(log_of(row.upper_per_min))});
  }
  const double limit = y(log_of(record.ask.limit_per_min));
  svg += svg_line({left, limit}, {right, limit}, "curve-limit") +
         svg_text({left + 6, limit - 6}, "limit", "name");
  if (record.gauge.deadband.rpm <= widest) {
    const double own = x(record.gauge.deadband.rpm);
    svg += svg_line({own, top}, {own, bottom}, "curve-own") +
           svg_text({own + 5, top + 14}, "as the gauge has it", "name");
  }
  return svg + svg_path(uppers, "curve-upper") + svg_path(rates, "curve-rate") +
         fmt::format("<path class=\"cursor\" d=\"M{0:.0f} {1:.0f}V{2:.0f}\"/>\n</svg>\n", left, top, bottom);
}

}  // namespace

std::string at_width(const DeadbandRecord& record, const WidthRow& row) {
  std::string text = fmt::format("At {} rpm: {} changes a minute, at most {}", number_text(row.width_rpm),
                                 per_minute(row.rate_per_min), per_minute(row.upper_per_min));
  if (record.kmh_per_rpm > 0)
    text += fmt::format("; costs {} km/h", fixed(row.width_rpm * record.kmh_per_rpm, 2));
  return text + ".";
}

std::string flicker_html(const DeadbandRecord& record, std::size_t boundary) {
  const BoundaryCurve& curve = record.study.boundaries[boundary];
  Json sentences = Json::array();
  std::string rows;
  std::size_t chosen = 0;
  for (std::size_t i = 0; i < curve.rows.size(); ++i) {
    const WidthRow& row = curve.rows[i];
    sentences.push_back({row.width_rpm, text_to_json(at_width(record, row))});
    if (row.width_rpm <= record.gauge.deadband.rpm) chosen = i;
    rows += fmt::format(
        "<tr><td class=\"n\">{}{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td><td "
        "class=\"n\">{}</td></tr>\n",
        number_text(row.width_rpm), curve.smallest == i ? " (smallest that holds)" : "",
        per_minute(row.rate_per_min), per_minute(row.upper_per_min),
        record.kmh_per_rpm > 0 ? fixed(row.width_rpm * record.kmh_per_rpm, 2) : std::string("-"));
  }
  const double step = curve.rows.size() > 1 ? curve.rows[1].width_rpm - curve.rows[0].width_rpm : 1;
  return fmt::format(
      "<section class=\"flicker\"><h2>Boundary {}, {} rpm</h2>\n<p class=\"answer\">{}</p>\n"
      "<div class=\"scroll\">{}</div>\n<div class=\"field wide slide\" id=\"width-field\" data-rows=\"{}\" "
      "hidden><label "
      "for=\"width\">Width of the deadband</label><input type=\"range\" id=\"width\" min=\"0\" max=\"{}\" "
      "step=\"{}\" "
      "value=\"{}\"></div>\n<p class=\"answer\" id=\"at-width\" role=\"status\">{}</p>\n<p>{}: {} Whole "
      "line: what is "
      "expected; broken line: its upper limit, {:g} % sure.</p>\n<details><summary>All widths</summary><div "
      "class=\"scroll\"><table><thead><tr><th scope=\"col\" class=\"n\">width, rpm</th><th scope=\"col\" "
      "class=\"n\">changes a minute</th><th scope=\"col\" class=\"n\">at most</th><th scope=\"col\" "
      "class=\"n\">costs, "
      "km/h</th></tr></thead>\n<tbody>\n{}</tbody></table></div></details></section>\n",
      escaped(curve.boundary), fixed(curve.rpm, 0), escaped(deadband_answer(record)),
      curve_svg(record, curve), escaped(json_text(sentences)), number_text(curve.rows.back().width_rpm),
      number_text(step), number_text(curve.rows[chosen].width_rpm),
      escaped(at_width(record, curve.rows[chosen])), "At the gauge's own width",
      escaped(record.study.reason.sentence) + ".", 100 * record.ask.confidence, rows);
}

}  // namespace tachproof
