// The history as one page: no scripts, nothing fetched, readable without colour.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ctime>

#include "bench/history/drift_drawing.h"
#include "bench/history/history_report.h"
#include "bench/record/text.h"
#include "bench/reports/html_tables.h"
#include "bench/reports/page.h"
#include "bench/reports/svg.h"

namespace tachproof {
namespace {

constexpr const char* history_style = R"css(
.within { fill: #000; fill-opacity: .06; stroke: none; }
.tolerance { stroke: #111; stroke-width: 1; stroke-dasharray: 6 3; fill: none; }
.nominal { stroke: #777; stroke-width: .8; fill: none; }
.spread { stroke: #111; stroke-width: 1.6; fill: none; }
.cut { stroke: #111; stroke-width: 1; stroke-dasharray: 1 3; fill: none; }
)css";

constexpr std::size_t most_listed = 200;
constexpr std::size_t most_charts = 200;

std::string drifts_html(const std::vector<Drift>& drifts) {
  if (drifts.empty()) return "";
  std::string html =
      "<h2>Drift of each unit</h2>\n<p>Deviation of each boundary from its nominal rpm, with its U as a bar. "
      "Grey: what is allowed. The line is broken where "
      "the settings changed, and passes over values that are undecided: they are hollow. A change counts as "
      "movement when it is greater than its own U.</p>\n";
  std::string title;
  bool open = false;
  std::size_t drawn = 0;
  for (const Drift& d : drifts) {
    if (drawn++ == most_charts) break;
    if (unit_title(d) != title) {
      if (open) html += "</div>\n";
      title = unit_title(d);
      html += "<h3>" + escaped(title) + "</h3>\n<div class=\"pairs\">\n";
      open = true;
    }
    html += "<figure>" + drift_drawing(d) + "<figcaption>" + change_words(d) + "</figcaption></figure>\n";
  }
  html += "</div>\n";
  if (drifts.size() > most_charts)
    html += fmt::format("<p><b>{} of {} are drawn</b>; choose fewer with --unit or --gauge.</p>\n",
                        most_charts, drifts.size());
  return html;
}

std::string verdict_cell(const HistoryRun& run) {
  return fmt::format("<td>{}{}</td>",
                     run.verdict == Verdict::pass   ? "pass"
                     : run.verdict == Verdict::fail ? "<b class=\"fail\">FAIL</b>"
                                                    : "<b class=\"undecided\">UNDECIDED</b>",
                     run.simulated ? " <b>SIMULATED</b>" : "");
}

std::string causes_cell(const HistoryRun& run) {
  std::string text;
  for (const std::string& cause : cause_sentences(run)) text += (text.empty() ? "" : "<br>") + escaped(cause);
  return "<td>" + text + "</td>";
}

std::string runs_html(const std::vector<HistoryRun>& runs) {
  std::string html =
      "<h2>Runs</h2>\n<div class=\"scroll\"><table>\n<thead><tr><th>started</th><th>unit</th><th>gauge</th>"
      "<th>scenario</th><th>tested by</th><th>report</th><th>folder</th><th>verdict</th><th>cause</th>"
      "<th>accepted as the reference</th></tr></thead>\n<tbody>\n";
  const std::size_t first = runs.size() > most_listed ? runs.size() - most_listed : 0;
  for (std::size_t i = runs.size(); i-- > first;) {
    const HistoryRun& r = runs[i];
    const auto cell = [](const std::string& text) { return "<td>" + escaped(text) + "</td>"; };
    html += "<tr>" + cell(r.started) + cell(r.unit_serial) + cell(r.gauge) + cell(r.scenario) +
            cell(r.tested_by) + cell(r.report_id) + cell(r.folder) + verdict_cell(r) + causes_cell(r) +
            cell(r.accepted.empty() ? "" : r.accepted.back().who + ": " + r.accepted.back().why) + "</tr>\n";
  }
  html += "</tbody></table></div>\n";
  if (first > 0) html += fmt::format("<p>The last {} of {} runs.</p>\n", most_listed, runs.size());
  return html;
}

std::string accepted_html(const std::vector<HistoryRun>& runs) {
  std::string rows;
  for (const GivenAcceptance& given : acceptances(runs))
    rows += "<li>" + escaped(acceptance_words(given)) + "</li>\n";
  return rows.empty() ? ""
                      : "<h2>Accepted as the reference, the last one last</h2>\n<ul>\n" + rows + "</ul>\n";
}

}  // namespace

std::string axis_time(std::int64_t at_s, bool with_clock) {
  const std::time_t at = at_s;
  std::tm utc = {};
  gmtime_r(&at, &utc);
  char text[32];
  return {text, std::strftime(text, sizeof text, with_clock ? "%d %b %H:%M" : "%Y-%m-%d", &utc)};
}

std::string history_html(const HistoryView& view, const std::string& asked_for, const std::string& now) {
  const auto simulated =
      std::count_if(view.runs.begin(), view.runs.end(), [](const HistoryRun& r) { return r.simulated; });
  const bool all = static_cast<std::size_t>(simulated) == view.runs.size();
  const std::string banner =
      simulated == 0 ? ""
      : all ? simulated_banner("All these runs judged the built-in unit: they say nothing of a real one.")
            : simulated_banner(
                  fmt::format("{} of these {} runs judged the built-in unit: {} nothing of a real one.",
                              simulated, view.runs.size(), simulated == 1 ? "it says" : "they say"));
  const std::string head =
      fmt::format("<h1>Tachproof history{}{}</h1>\n<p>{} runs, as of {}. Times on the axes are UTC.</p>\n",
                  asked_for.empty() ? "" : ": ", escaped(asked_for), view.runs.size(), escaped(now));
  // A printed page may have real units only: the margin says it where all are built in.
  return html_page("Tachproof history", history_style + (simulated > 0 && all ? simulated_style() : ""),
                   banner + head +
                       (view.left_out == 0 ? "" : "<p>" + escaped(left_out_words(view)) + "</p>\n") +
                       spreads_html(view.spreads) + drifts_html(view.drifts) + accepted_html(view.runs) +
                       runs_html(view.runs));
}

}  // namespace tachproof
