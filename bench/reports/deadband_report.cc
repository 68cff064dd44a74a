#include "bench/reports/deadband_report.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "bench/reports/chart.h"

namespace tachproof {
namespace {

constexpr std::size_t columns = 80;

const BoundaryCurve& decisive(const DeadbandRecord& record) {
  return record.study.boundaries[record.study.decisive];
}

// Rates span many decades: three digits that matter.
std::string rate(double value) { return std::isfinite(value) ? fmt::format("{:.3g}", value) : "-"; }

// "1 lamp change per minute".
std::string limit_text(const DeadbandRecord& record) {
  return rate(record.ask.limit_per_min) +
         (record.ask.limit_per_min == 1 ? " lamp change per minute" : " lamp changes per minute");
}

std::string width_text(double rpm) { return fmt::format("{:g}", rpm); }

std::string cost(const DeadbandRecord& record, double width) {
  std::string text = width_text(width) + " rpm";
  if (record.kmh_per_rpm > 0) text += fmt::format(" or {:.2f} km/h", width * record.kmh_per_rpm);
  return text;
}

std::string upper_title(const DeadbandRecord& record) {
  return fmt::format("upper {:g} %", 100 * record.ask.confidence);
}

// Widths worth a line at a terminal: all narrow ones, then fewer; and the
// recommended one, with its neighbours.
bool worth_a_line(const DeadbandRecord& record, std::size_t row, std::size_t rows) {
  if (record.study.recommended &&
      std::abs(static_cast<double>(row) - static_cast<double>(*record.study.recommended)) <= 1)
    return true;
  return row <= 4 || (row <= 20 && row % 2 == 0) || row % 5 == 0 || row + 1 == rows;
}

std::string boundaries_text(const DeadbandRecord& record) {
  std::size_t widest = std::string_view("boundary").size();
  for (const BoundaryCurve& b : record.study.boundaries) widest = std::max(widest, code_points(b.boundary));
  widest = std::min<std::size_t>(widest, 30);
  std::string text =
      fmt::format("{:{}}{:>10}{:>16}{:>18}\n", "boundary", widest, "rpm", "smallest width", "missing pulses");
  for (const BoundaryCurve& b : record.study.boundaries) {
    const std::string name = shortened(b.boundary, widest);
    text += name + std::string(widest - std::min(widest, code_points(name)), ' ');
    text += fmt::format("{:>10}{:>16}{:>11}/min\n", width_text(b.rpm),
                        b.smallest ? width_text(b.rows[*b.smallest].width_rpm) + " rpm" : "none",
                        rate(b.disturbances_per_min));
  }
  return text;
}

}  // namespace

std::string deadband_answer(const DeadbandRecord& record) {
  const BoundaryCurve& curve = decisive(record);
  if (!record.study.recommended) {
    if (curve.disturbances_per_min > record.ask.limit_per_min)
      return fmt::format(
          "No deadband keeps this signal under {}: at boundary {} its missing and "
          "doubled pulses alone make {}. Mend the signal.",
          limit_text(record), curve.boundary, rate(curve.disturbances_per_min));
    const double most = std::min(record.ask.widest_rpm, record.study.room_rpm);
    return fmt::format(
        "No deadband up to {} rpm keeps flicker under {} with {:g} % confidence; "
        "boundary {} is the worst.{}",
        width_text(most), limit_text(record), 100 * record.ask.confidence, curve.boundary,
        record.study.room_rpm < record.ask.widest_rpm ? " A wider one does not fit the gauge's windows."
                                                      : "");
  }
  const WidthRow& row = curve.rows[*record.study.recommended];
  return fmt::format(
      "A deadband of {} rpm is the smallest that keeps flicker under {} with {:g} % "
      "confidence. It costs {} of resolution. Boundary {} decides, held at {:.1f} rpm: {} changes per "
      "minute, "
      "at most {}.",
      width_text(row.width_rpm), limit_text(record), 100 * record.ask.confidence, cost(record, row.width_rpm),
      curve.boundary, row.mean_rpm, rate(row.rate_per_min), rate(row.upper_per_min));
}

std::string deadband_text(const DeadbandRecord& record) {
  const BoundaryCurve& curve = decisive(record);
  const bool speed = record.kmh_per_rpm > 0;
  std::string text =
      fmt::format("{:>9}{:>9}{:>12}{:>12}{:>12}{:>11}{}\n", "width rpm", "mean rpm", "changes/min",
                  upper_title(record), "closed form", "Rice bound", speed ? "  width km/h" : "");
  for (std::size_t r = 0; r < curve.rows.size(); ++r) {
    if (!worth_a_line(record, r, curve.rows.size())) continue;
    const WidthRow& row = curve.rows[r];
    text += fmt::format("{:>9}{:>9.1f}{:>12}{:>12}{:>12}{:>11}", width_text(row.width_rpm), row.mean_rpm,
                        rate(row.rate_per_min), rate(row.upper_per_min), rate(row.closed_form_per_min),
                        rate(row.crossings_per_min));
    if (speed) text += fmt::format("{:>12.2f}", row.width_rpm * record.kmh_per_rpm);
    text += record.study.recommended == r ? " <-\n" : "\n";
  }
  std::string words;
  for (const std::string& sentence :
       {fmt::format("Boundary {}, the mean where it flickers most. {:.0f} minutes simulated of {}.",
                    curve.boundary, record.study.simulated_minutes, record.reading),
        deadband_answer(record),
        fmt::format("At the gauge's own {} rpm: {}.", width_text(record.gauge.deadband.rpm),
                    record.study.reason.sentence)})
    for (const std::string& line : wrapped(sentence, columns)) words += line + "\n";
  return text + "\n" + boundaries_text(record) + "\n" + words;
}

std::string deadband_json(const DeadbandRecord& record) {
  const BoundaryCurve& curve = decisive(record);
  Json out;
  const auto& recommended = record.study.recommended;
  out["recommended_rpm"] = recommended ? Json(curve.rows[*recommended].width_rpm) : Json(nullptr);
  out["limit_per_min"] = record.ask.limit_per_min;
  out["confidence"] = record.ask.confidence;
  out["boundary"] = text_to_json(curve.boundary);
  out["mean_rpm"] = curve.rows[recommended.value_or(curve.rows.size() - 1)].mean_rpm;
  out["curve"] = Json::array();
  for (const WidthRow& row : curve.rows)
    out["curve"].push_back({{"width_rpm", row.width_rpm},
                            {"rate_per_min", number_to_json(row.rate_per_min)},
                            {"upper_95_per_min", number_to_json(row.upper_per_min)},
                            {"closed_form_per_min", number_to_json(row.closed_form_per_min)},
                            {"crossings_per_min", number_to_json(row.crossings_per_min)}});
  return json_text(out, 2) + "\n";
}

namespace {

// One boundary's rates against the width, and what was asked for.
Chart decisive_chart(const DeadbandRecord& record) {
  const BoundaryCurve& curve = decisive(record);
  Chart chart;
  std::vector<Curve> curves(5);
  curves[0] = {"simulated", "solid", "", {}};
  curves[1] = {upper_title(record) + " limit", "dashed", "", {}};
  curves[2] = {"closed form", "dotted", "", {}};
  curves[3] = {"level crossings: no more than this (Rice)", "thin", "", {}};
  curves[4] = {"limit asked for", "limit-line", "", {}};
  for (const WidthRow& row : curve.rows) {
    curves[0].points.push_back({row.width_rpm, row.rate_per_min});
    curves[1].points.push_back({row.width_rpm, row.upper_per_min});
    curves[2].points.push_back({row.width_rpm, row.closed_form_per_min});
    curves[3].points.push_back({row.width_rpm, row.crossings_per_min});
    curves[4].points.push_back({row.width_rpm, record.ask.limit_per_min});
  }
  // One point alone, or none, draws no line.
  std::erase_if(curves, [](const Curve& c) {
    return std::count_if(c.points.begin(), c.points.end(), [](Point p) { return std::isfinite(p.y); }) < 2;
  });
  chart.x = {"deadband width, rpm", 0, record.ask.widest_rpm, false};
  chart.y = fitted("lamp changes per minute", curves, true);
  chart.curves = std::move(curves);
  if (record.study.recommended) {
    const double width = curve.rows[*record.study.recommended].width_rpm;
    chart.marks.emplace_back(width, width_text(width) + " rpm holds");
  }
  return chart;
}

// Every boundary's upper limit against the width.
Chart all_boundaries_chart(const DeadbandRecord& record) {
  Chart all;
  constexpr const char* styles[] = {"solid", "dashed", "dotted"};
  for (const BoundaryCurve& b : record.study.boundaries) {
    Curve one{b.boundary + ", " + width_text(b.rpm) + " rpm",
              styles[all.curves.size() % 3],
              std::to_string(all.curves.size() + 1),
              {}};
    for (const WidthRow& row : b.rows) one.points.push_back({row.width_rpm, row.upper_per_min});
    all.curves.push_back(std::move(one));
  }
  all.x = {"deadband width, rpm", 0, record.ask.widest_rpm, false};
  all.y = fitted(upper_title(record) + " limit, lamp changes per minute", all.curves, true);
  return all;
}

std::string boundary_rows(const DeadbandRecord& record) {
  std::string rows;
  for (const BoundaryCurve& b : record.study.boundaries)
    rows += fmt::format(
        "<tr><td>{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td></tr>\n",
        escaped(b.boundary), width_text(b.rpm),
        b.smallest ? width_text(b.rows[*b.smallest].width_rpm) : std::string("none"),
        rate(b.disturbances_per_min));
  return rows;
}

}  // namespace

std::string deadband_html(const DeadbandRecord& record) {
  const std::string body = fmt::format(
      "<h1>Deadband and flicker: <b>{}</b></h1>\n<p>{}</p>\n<p>Noise: {}. {} minutes simulated, seed {}, "
      "of {}.</p>\n<h2>Boundary {}</h2>\n<p>The mean rpm is held where this boundary flickers most, for each "
      "width anew. "
      "The closed form is drawn where one holds.</p>\n<figure>{}</figure>\n<p>At the gauge's own deadband of "
      "{} "
      "rpm: {}.</p>\n<h2>All boundaries</h2>\n<figure>{}</figure>\n<div class=\"scroll "
      "narrow\"><table><thead><tr>"
      "<th>boundary</th><th class=\"n\">rpm</th><th class=\"n budget\">smallest width, rpm</th><th class=\"n "
      "budget\">missing and doubled pulses, changes per minute</th></tr></thead>\n<tbody>{}</tbody></table>"
      "</div>\n",
      escaped(record.gauge.name), escaped(deadband_answer(record)), escaped(record.noise),
      record.study.simulated_minutes, record.ask.seed, escaped(record.reading),
      escaped(decisive(record).boundary), chart_svg(decisive_chart(record)),
      width_text(record.gauge.deadband.rpm), escaped(record.study.reason.sentence),
      chart_svg(all_boundaries_chart(record)), boundary_rows(record));
  return chart_page("Deadband and flicker: " + record.gauge.name, body);
}

}  // namespace tachproof
