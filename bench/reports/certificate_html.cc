#include "bench/reports/certificate_html.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/facts.h"
#include "bench/reports/html_tables.h"
#include "bench/reports/page.h"
#include "bench/reports/table_cells.h"

namespace tachproof {
namespace {

Certificate stated(const RunRecord& record) { return record.certificate.value_or(Certificate{}); }

std::string joined(const std::vector<std::string>& parts) {
  std::string text;
  for (const std::string& part : parts)
    if (!part.empty()) text += (text.empty() ? "" : ", ") + part;
  return text;
}

std::string party(const Certificate::Party& p) { return joined({p.name, p.address, p.contact}); }

std::string with_unit(double value, int decimals, const char* unit) {
  return std::isfinite(value) ? fixed(value, decimals) + " " + unit : "";
}

// The id as CSS can take it inside a string.
std::string plain_id(const std::string& id) {
  std::string plain;
  for (const char c : id)
    if ((c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || c == '-') plain += c;
  return plain;
}

std::string calibration(const Certificate& c) {
  if (c.clock_calibrated.empty()) return "";
  return joined({c.clock_calibrated + (c.clock_calibrated_by.empty() ? "" : " by " + c.clock_calibrated_by),
                 c.clock_record.empty() ? "" : "record " + c.clock_record,
                 c.clock_due.empty() ? "" : "due again " + c.clock_due});
}

// Dates as written: ISO 8601 compares as text.
bool overdue(const RunRecord& record, const Certificate& c) {
  return !c.clock_due.empty() && c.clock_due < record.started.substr(0, 10);
}

std::string clock_html(const RunRecord& record, const Certificate& c) {
  if (overdue(record, c))
    return fmt::format(
        "<p><b>The calibration of the bench’s clock was overdue on the day of the test.</b></p>\n");
  if (!c.clock_calibrated.empty()) return "";
  if (record.bench.source.clock_ppm > 0)
    return fmt::format(
        "<p>No calibration of the bench’s clock is stated. Its frequency is taken as known to {} parts in a "
        "million (standard uncertainty), and that is in every U.</p>\n",
        fixed(record.bench.source.clock_ppm, 1));
  return "";
}

std::vector<std::string> components(const RunResult& result) {
  std::vector<std::string> names;
  for (const BoundaryResult& b : result.boundaries)
    for (const BudgetLine& line : b.budget)
      if (std::find(names.begin(), names.end(), line.component) == names.end())
        names.push_back(line.component);
  return names;
}

std::string dof_text(double dof) { return std::isfinite(dof) ? fixed(std::floor(dof), 0) : "∞"; }

std::string budget_row(const BoundaryResult& b, const std::vector<std::string>& names) {
  std::string row = fmt::format("<tr><td class=\"w\">{}</td><td class=\"w\">{}</td>", escaped(b.boundary),
                                word(b.direction));
  double squares = 0;
  for (const BudgetLine& line : b.budget)
    squares += line.standard_uncertainty_rpm * line.standard_uncertainty_rpm;
  for (const std::string& name : names) {
    const auto line = std::find_if(b.budget.begin(), b.budget.end(),
                                   [&](const BudgetLine& l) { return l.component == name; });
    if (line == b.budget.end()) {
      row += number_cell("–");
      continue;
    }
    std::string cell = html_number(line->standard_uncertainty_rpm, 3);
    if (std::isfinite(line->dof)) cell += " (" + dof_text(line->dof) + ")";
    row += number_cell(cell);
  }
  const int decimals = decimals_for(b.expanded_uncertainty_rpm);
  return row + number_cell(html_number(std::sqrt(squares), 3)) + number_cell(dof_text(b.dof)) +
         number_cell(html_number(b.coverage_factor, 2)) +
         number_cell("<b>" + html_number(b.expanded_uncertainty_rpm, decimals) + "</b>") + "</tr>\n";
}

}  // namespace

std::string page_style(const RunRecord& record) {
  const std::string id = plain_id(record.report_id);
  return (on_simulated_unit(record) ? simulated_style() : "") +
         fmt::format(
             "@page {{ @bottom-left {{ content: \"{}\"; font: 8pt sans-serif; color: #444; }} "
             "@bottom-right {{ "
             "content: \"page \" counter(page) \" of \" counter(pages); font: 8pt sans-serif; "
             "color: #444; }} }}",
             id.empty() ? "Not issued" : "Report " + id);
}

namespace {

Facts identity(const RunRecord& record) {
  const Certificate c = stated(record);
  Facts facts;
  facts.add("Report", record.report_id.empty() ? "none: the run did not get to its end" : record.report_id);
  facts.add("Issued", record.issued.empty() ? "not issued" : record.issued);
  facts.state("Shop", party(c.shop), true);
  facts.state("Place of test", c.place.empty() ? c.shop.address : c.place, true);
  facts.state("Customer", party(c.customer), true);
  facts.state("Reference", c.customer_reference);
  facts.state("Tested by", c.tested_by);
  facts.state("Authorised by", c.authorised_by);
  return facts;
}

Facts unit(const RunRecord& record) {
  const RunResult& r = record.result;
  const Certificate c = stated(record);
  Facts facts;
  facts.add("Unit", record.unit_serial.empty() ? "no serial number given" : "serial " + record.unit_serial);
  facts.add("Gauge", record.gauge_name);
  facts.state("Received", c.unit_received);
  facts.state("Condition", c.unit_condition, true);
  facts.add("Scenario", record.scenario_name);
  facts.add("Seed", std::to_string(record.seed));
  facts.add("Tested", record.started);
  facts.add("Duration", fixed(to_seconds(r.duration), 3) + " s" + (r.complete ? "" : ", NOT COMPLETE"));
  facts.add("Evidence",
            fmt::format("{} pulses, {} lamp changes, {}", r.evidence.pulses, r.evidence.lamp_changes,
                        r.evidence.lost == 0 ? "none lost" : std::to_string(r.evidence.lost) + " LOST"));
  facts.add("Judged", score(r), true);
  return facts;
}

std::string resolution(Nanos span) {
  const auto ns = static_cast<double>(span);
  if (span < ns_per_us) return fmt::format("{} ns", span);
  return span < ns_per_ms ? fmt::format("{:.3g} µs", ns / ns_per_us)
                          : fmt::format("{:.3g} ms", ns / ns_per_ms);
}

Facts bench(const RunRecord& record) {
  const Certificate c = stated(record);
  const auto described = [](const std::string& kind, const std::string& text) {
    return text.empty() ? kind : kind + ": " + text;
  };
  Facts facts;
  facts.state("Bench", c.bench_name);
  facts.add("Program", "tachproof " + record.tool_version);
  facts.add("Source", described(record.source, record.source_description), true);
  facts.add("Watcher", described(record.watch, record.watch_description), true);
  facts.add("Resolution", fmt::format("pulses {}, lamp changes {}", resolution(record.bench.source.tick),
                                      resolution(record.bench.watcher.resolution)));
  if (!on_simulated_unit(record)) facts.state("Clock calibrated", calibration(c), true);
  facts.state("Temperature", with_unit(c.temperature_c, 1, "°C"));
  facts.state("Humidity", with_unit(c.humidity_percent, 0, "%"));
  facts.state("Supply voltage", with_unit(c.supply_v, 2, "V"));
  return facts;
}

}  // namespace

std::string facts_html(const RunRecord& record) {
  const Facts parts[] = {unit(record), identity(record), bench(record)};
  std::string missing;
  for (const Facts& part : parts)
    for (const std::string& name : part.missing()) {
      std::string lower = name;
      lower.front() = static_cast<char>(std::tolower(static_cast<unsigned char>(lower.front())));
      missing += (missing.empty() ? "" : ", ") + lower;
    }
  return "<h2>What was tested</h2>\n" + parts[0].html() + "<h2>This report</h2>\n" + parts[1].html() +
         "<h2>Bench and surroundings</h2>\n" + parts[2].html() +
         (on_simulated_unit(record) ? "" : clock_html(record, stated(record))) +
         (missing.empty() ? "" : "<p>Not stated: " + escaped(missing) + ".</p>\n");
}

std::string budget_html(const RunRecord& record) {
  const std::vector<std::string> names = components(record.result);
  if (names.empty()) return "";
  std::string html =
      "<h2>Uncertainty budget</h2>\n<div class=\"scroll\"><table>\n<caption>Standard uncertainties in rpm "
      "(GUM, "
      "JCGM 100:2008); degrees of freedom in brackets where they are finite, together by Welch and "
      "Satterthwaite. U = k × u<sub>c</sub>, 95 %.</caption>\n<thead><tr><th>boundary</th><th></th>";
  for (const std::string& name : names) html += "<th class=\"n budget\">" + escaped(name) + "</th>";
  html +=
      "<th class=\"n\">u<sub>c</sub></th><th class=\"n\">ν<sub>eff</sub></th><th class=\"n\">k</th>"
      "<th class=\"n\">U</th></tr></thead>\n<tbody>\n";
  StateHeadings headings(record.result.boundaries, names.size() + 6);
  for (const BoundaryResult& b : record.result.boundaries)
    if (!b.budget.empty()) html += headings.before(b.state) + budget_row(b, names);
  return html + "</tbody></table></div>\n";
}

std::string decision_html(const RunRecord& record) {
  const RunResult& r = record.result;
  std::string html =
      "<h2>Decision rule</h2>\n<p><b>Guarded acceptance with a guard band w = U</b> (ILAC-G8:09/2019; JCGM "
      "106:2012, 8.3), for every boundary and transition: <b>pass</b> when the deviation and its U both lie "
      "within what is allowed, <b>fail</b> when the deviation lies outside by more than U, "
      "<b>undecided</b> in between. The specification is the gauge file named below. U is the expanded "
      "uncertainty for a coverage of 95 %, with the k that is given beside it (2 where none is).</p>\n"
      "<p><b>Risk.</b> For one result with a normal distribution and U = 2u, a value that passes lies in "
      "truth "
      "outside with a probability below 2.5 % (2.28 % where deviation and U just reach the limit, less "
      "elsewhere); the same holds for one that fails and lies in truth inside. The risk is that of each "
      "result "
      "alone: of many results, some are at risk more often than of one. Without a guard band it would be up "
      "to 50 %.</p>\n";
  std::string others;
  if (!r.blinks.empty())
    others += "Blink rates and duties are compared with their limits as measured, without a guard band. ";
  if (!r.flicker.empty())
    others += "Flicker is judged by the exact 95 % upper limit of its rate (Poisson, Garwood 1936). ";
  if (!r.presses.empty())
    others +=
        "A press passes when the boundaries that it moves, passed after it, pass where it had to put them, "
        "and would not pass where it had to leave them. ";
  if (!r.dims.empty())
    others +=
        "A dimming level may be off by 20 % of itself or by 2 points of full light, whichever is more, with "
        "a "
        "guard band w = U. ";
  if (!r.powers.empty())
    others +=
        "The time until a unit wakes is compared with its limits as measured, with the settling of its lamps "
        "allowed for. ";
  if (!r.answers.empty()) others += "Answers to questions are taken as they were given. ";
  if (!others.empty()) html += "<p>" + others + "</p>\n";
  return html;
}

std::string evidence_html(const RunRecord& record) {
  Facts facts;
  for (const auto& [name, sha256] : record.inputs) facts.add_code(name, sha256);
  if (record.inputs.empty()) {
    if (!record.gauge_sha256.empty()) facts.add_code("gauge", record.gauge_sha256);
    if (!record.scenario_sha256.empty()) facts.add_code("scenario", record.scenario_sha256);
  }
  for (const FileSum& sum : record.evidence_files) facts.add_code(sum.file, sum.sha256);
  const std::string list = facts.html();
  if (list.empty()) return "";
  std::string html = "<h2>Inputs and evidence, SHA-256</h2>\n" + list;
  if (!record.evidence_files.empty())
    html +=
        "<p>SHA256SUMS in the run folder lists these, result.json, the journal and this report. <code "
        "class=\"w\">tachproof report --verify</code> checks them all and judges the evidence again.</p>\n";
  return html;
}

namespace {

// Room for a hand: who tested, who authorises.
std::string sign_html(const Certificate& c) {
  const auto line = [](const char* what, const std::string& name) {
    return fmt::format("<div><span></span>{}{}</div>\n", what, name.empty() ? "" : ": " + escaped(name));
  };
  return "<div class=\"sign\">\n" + line("Tested by", c.tested_by) + line("Authorised by", c.authorised_by) +
         line("Date", "") + "</div>\n";
}

}  // namespace

std::string statements_html(const RunRecord& record) {
  const Certificate c = stated(record);
  std::string html =
      "<h2>Statements</h2>\n<ul>\n<li>The results relate only to the unit named in this report, in the state "
      "in "
      "which it was tested.</li>\n<li>This is the report of a shop about its own test on its own bench. It "
      "claims no accreditation, under ISO/IEC 17025 or otherwise, and names standards only to say which "
      "rules "
      "it follows.</li>\n";
  html +=
      record.certificate
          ? "<li>Shop, customer, people, the unit’s condition, calibration and surroundings are as stated by "
            "the shop; the bench did not measure them.</li>\n"
          : "<li>Nothing was stated about shop, customer, people, calibration and surroundings.</li>\n";
  html +=
      "<li>The report holds as a whole; parts of it may mislead. Opinions and interpretations are not part "
      "of "
      "it.</li>\n";
  for (const std::string& remark : c.remarks)
    html += "<li>Remark of the shop: " + escaped(remark) + "</li>\n";
  html += "</ul>\n";
  return html + sign_html(c);
}

}  // namespace tachproof
