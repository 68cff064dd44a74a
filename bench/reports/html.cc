// report.html: one file, no scripts, nothing fetched.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/causes_report.h"
#include "bench/reports/certificate_html.h"
#include "bench/reports/drawing.h"
#include "bench/reports/facts.h"
#include "bench/reports/html_tables.h"
#include "bench/reports/page.h"
#include "bench/reports/run_report.h"

namespace tachproof {
namespace {

constexpr std::size_t most_close_ups = 24;

// Names in one line, escaped.
std::string joined(const std::vector<std::string>& names) {
  std::string text;
  for (const std::string& name : names) text += (text.empty() ? "" : ", ") + escaped(name);
  return text;
}

std::string verdict_html(const RunRecord& record) {
  const Verdict verdict = reported_verdict(record.result);
  const std::string unit = record.unit_serial.empty() ? "a unit without a serial number" : record.unit_serial;
  const std::string not_judged = joined(record.result.not_judged);
  std::string proviso =
      not_judged.empty() ? "" : fmt::format("<p>Not wired, so <b>not judged</b>: {}.</p>", not_judged);
  if (!record.result.not_asked.empty())
    proviso += fmt::format("<p>Not asked: {}.</p>", joined(record.result.not_asked));
  if (!record.result.not_visited.empty() && record.result.closing.empty())  // which names them
    proviso += fmt::format("<p>Not visited: {}.</p>", joined(record.result.not_visited));
  return (on_simulated_unit(record) ? simulated_banner() : "") +
         fmt::format(
             "<h1>Tachproof {}: <b>{}</b>, {} <b>{}</b></h1>\n"
             "<div class=\"verdict {}\"><strong>{}</strong><div><p>{}</p>{}</div></div>\n",
             tells_findings(record) ? "findings" : "test report", escaped(record.gauge_name),
             record.unit_serial.empty() ? "" : "unit", escaped(unit), word(verdict), headline(record),
             escaped(reason(record)), proviso);
}

std::string settings_html(const RunRecord& record) {
  const Gauge& gauge = record.gauge;
  const Tolerance& t = gauge.tolerance;
  std::string anchors;
  for (const auto& [name, rpm] : gauge.anchors) {
    anchors += fmt::format("{}{} {} rpm", anchors.empty() ? "" : ", ", name, fixed(rpm, 1));
    if (gauge.drive)
      anchors +=
          fmt::format(" ({})", speed_words(gauge.drive->speed_when_set(rpm, t.rpm), gauge.drive->said_in));
  }
  std::string tolerance = fmt::format("± {} rpm", fixed(t.rpm, 1));
  if (record.extra_tolerance_rpm != 0)
    tolerance += fmt::format(", and {} rpm for scripted noise", fixed(record.extra_tolerance_rpm, 2));
  Facts facts;
  facts.add("Pulses per rev", fmt::format("{}", gauge.pulses_per_rev));
  facts.add("Anchors", anchors);
  if (gauge.drive) facts.add("Drive", drive_words(*gauge.drive));
  facts.add("Deadband",
            fmt::format("{} rpm, {}", fixed(gauge.deadband.rpm, 1), words_of(gauge.deadband.sits)));
  if (gauge.blink)
    facts.add("Blink",
              fmt::format("{} ± {} Hz, duty {} ± {}", fixed(gauge.blink->hz, 2), fixed(t.blink_hz, 2),
                          fixed(gauge.blink->duty, 2), fixed(t.blink_duty, 2)));
  facts.add("Tolerance", tolerance);
  facts.add("Response",
            fmt::format("{} to {} ms", fixed(to_ms(t.response_from), 0), fixed(to_ms(t.response_to), 0)));
  facts.add("Settling", fixed(to_ms(t.settle), 0) + " ms");
  facts.add("Signal lost", fixed(to_ms(t.signal_lost), 0) + " ms after the last pulse");
  return windows_html(gauge) + facts.html();
}

std::string notes_html(const RunRecord& record) {
  const RunResult& r = record.result;
  if (r.notes.empty()) return "";
  std::string html = "<h2>Notes</h2>\n<ul>\n";
  for (const std::string& note : r.notes) html += fmt::format("<li>{}</li>\n", escaped(as_sentence(note)));
  return html + "</ul>\n";
}

std::string overview_html(const RunRecord& record, const Trace& trace, const Palette& palette) {
  std::string html = "<h2>The run</h2>\n<figure><div class=\"scroll\">" +
                     overview_drawing(record, trace, palette) + "</div>\n" + overview_legend(palette);
  if (trace.thinned)
    html +=
        "<figcaption><b>The drawing is not whole:</b> the run was too long to keep all of it; everything was "
        "judged.</figcaption>\n";
  return html + "</figure>\n";
}

std::string close_ups_html(const RunRecord& record, const Trace& trace) {
  const std::vector<TransitionGroup> groups = transition_groups(record);
  std::vector<std::string> drawings;
  for (const TransitionGroup& g : groups)
    drawings.push_back(close_up_drawing(record, trace, record.result.transitions[g.worst]));
  // Where there are too many, those that are no pass come before the others.
  std::vector<std::size_t> order;
  for (const bool passes : {false, true})
    for (std::size_t i = 0; i < groups.size(); ++i)
      if ((groups[i].verdict == Verdict::pass) == passes && !drawings[i].empty()) order.push_back(i);
  order.resize(std::min(order.size(), most_close_ups));
  std::sort(order.begin(), order.end());
  std::string figures;
  for (const std::size_t i : order) figures += "<figure>" + drawings[i] + "</figure>\n";
  if (figures.empty()) return "";
  std::string lead =
      "The worst visit of each boundary in each direction. Grey band: the threshold with its tolerance. Bar "
      "“allowed”: when a conforming unit changes. Diamond: when it was seen. Where the rpm line goes far "
      "from the threshold, two strokes break the axis. What is no pass is framed.";
  if (order.size() < groups.size()) lead += fmt::format(" {} of {} are drawn.", order.size(), groups.size());
  return "<h2>Close-ups</h2>\n<p>" + lead + "</p>\n<div class=\"pairs\">\n" + figures + "</div>\n";
}

constexpr const char* cautions =
    "<footer><p><b>Cautions.</b> Lamps that flash at 3 to 30 Hz can trigger seizures: keep a flashing unit "
    "out of "
    "people’s view unless they know. Ignition circuits carry hundreds of volts and more: never wire a bench "
    "to a "
    "coil. Feed units from a fused supply. Keep hands, hair and cables away from rotating parts. Local "
    "codes, the "
    "rules of the series and licensed practice come first; this report replaces none of them.</p></footer>\n";

std::string end_html(const RunRecord& record) {
  if (record.report_id.empty()) return "";
  return fmt::format("<p class=\"end\">End of report {}</p>\n", escaped(record.report_id));
}

}  // namespace

std::string report_html(const RunRecord& record, const Trace& trace) {
  const Palette palette(record.gauge);
  const bool judged = !tells_findings(record);
  const std::string body =
      palette.definitions() + verdict_html(record) + causes_html(record.causes) + deviations_html(record) +
      not_passed_html(record) + overview_html(record, trace, palette) + presses_html(record) +
      dims_html(record) + powers_html(record) + boundaries_html(record) + speeds_html(record) +
      deadbands_html(record) + responses_html(record) + transitions_html(record) + blinks_html(record) +
      flicker_html(record) + answers_html(record) + levels_html(record) + findings_html(record) +
      notes_html(record) + close_ups_html(record, trace) + facts_html(record) + settings_html(record) +
      budget_html(record) + (judged ? decision_html(record) : "") + evidence_html(record) +
      (judged ? statements_html(record) : "") + cautions + end_html(record);
  return html_page(fmt::format("{}: {}, {}", headline(record), record.gauge_name, record.scenario_name),
                   page_style(record), body);
}

std::vector<Page> run_pages(const RunRecord& record, const Trace& trace) {
  return {{"report.html", report_html(record, trace)}, {"junit.xml", junit_xml(record)}};
}

}  // namespace tachproof
