#include "bench/page/run_frame.h"

#include <fmt/format.h>

#include "bench/page/frame.h"
#include "bench/page/pieces.h"
#include "bench/page/run_folders.h"
#include "bench/record/run_folder.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/drawing.h"
#include "bench/reports/html_tables.h"
#include "bench/reports/page.h"
#include "bench/run/suite_folders.h"

namespace tachproof {
namespace {

std::string fact(const char* name, const std::string& value) {
  return value.empty() ? "" : fmt::format("<div><dt>{}</dt><dd>{}</dd></div>\n", name, value);
}

std::string run_facts_html(const RunFrame& frame) {
  const RunRecord& record = frame.record;
  const std::string unit = record.unit_serial.empty()
                               ? "no serial number"
                               : fmt::format("<a href=\"{}\">{}</a>", unit_address(record.unit_serial),
                                             escaped(record.unit_serial));
  return "<dl class=\"facts\">\n" + fact("unit", unit) + fact("gauge", escaped(record.gauge_name)) +
         fact("played", escaped(record.scenario_name)) + fact("begun", escaped(clock_words(record.started))) +
         fact("lasted", fmt::format("{:.1f} s", to_seconds(record.result.duration))) +
         fact("played by", escaped(record.source_description)) +
         fact("watched by", escaped(record.watch_description)) +
         fact("tested by", record.certificate ? escaped(record.certificate->tested_by) : "") +
         fact("report", escaped(record.report_id)) +
         fact("reference", frame.reference ? escaped(*frame.reference) : "") +
         fact("folder", "<code>" + escaped(frame.folder.string()) + "</code>") + "</dl>\n";
}

std::string buttons_html(const RunFrame& frame) {
  const std::string here = run_address(frame.name);
  return fmt::format(
      "<div class=\"keys\">\n<a class=\"button\" href=\"{0}/report\">{1}</a>\n"
      "<a class=\"button\" href=\"{0}/report\" data-prints>Print</a>\n"
      "<form method=\"post\" action=\"{0}/verify\"><button>Verify now</button></form>\n</div>\n",
      here, frame.record.certificate ? "Certificate" : "Report");
}

std::string reference_form(const RunFrame& frame) {
  const RunRecord& record = frame.record;
  if (!frame.keeps_history || record.purpose == purpose_found) return {};
  const std::string of = record.unit_serial.empty() ? "the gauge’s" : "the unit’s";
  std::string html =
      fmt::format("<section class=\"act\" id=\"reference\">\n<h2>Make it {} reference</h2>\n", of);
  if (!record.result.complete)
    return html + "<p>A run that did not get to its end cannot be the reference.</p>\n</section>\n";
  html += "<p>Later runs can be compared with it. It is verified first.</p>\n";
  if (!frame.trouble.empty())
    html += fmt::format("<p class=\"trouble\" role=\"alert\">{}</p>\n", escaped(frame.trouble));
  html += fmt::format("<form method=\"post\" action=\"{}/accept\" class=\"filters\">\n",
                      run_address(frame.name)) +
          text_field("who", "Who", frame.written.get("who"), " required maxlength=\"200\"") +
          text_field("why", "Why", frame.written.get("why"), " required maxlength=\"1000\"");
  if (record.result.verdict != Verdict::pass)
    html += fmt::format(
        "<span class=\"field\"><label><input type=\"checkbox\" name=\"even_so\" value=\"yes\"> although its "
        "verdict is {}</label></span>\n",
        word(record.result.verdict));
  return html + fmt::format("<button>Make it {} reference</button></form>\n</section>\n", of);
}

std::string files_html(const RunFrame& frame) {
  std::string list;
  for (const std::string& file : files_in(frame.folder)) {
    std::error_code error;
    const auto bytes = std::filesystem::file_size(frame.folder / file, error);
    list += fmt::format("<li><a href=\"{}/files/{}\" download>{}</a> <small>{}</small></li>\n",
                        run_address(frame.name), url_encoded(file), escaped(file),
                        error            ? ""
                        : bytes < 10'000 ? fmt::format("{} bytes", bytes)
                                         : fmt::format("{:.1f} kB", static_cast<double>(bytes) / 1e3));
  }
  return "<h2>Its files</h2>\n<ul class=\"files\">\n" + list + "</ul>\n";
}

std::string siblings_html(const RunFrame& frame) {
  if (frame.parts.size() < 2) return {};
  std::string links;
  for (const std::string& part : frame.parts) {
    const std::string own = escaped(part.substr(part.find('/') + 1));
    links += part == frame.name ? " <b>" + own + "</b>"
                                : fmt::format(" <a href=\"{}\">{}</a>", run_address(part), own);
  }
  return "<p class=\"parts\">The job’s runs:" + links + "</p>\n";
}

std::string verdict_banner(Verdict verdict, const std::string& headline, const std::string& of) {
  return fmt::format(
      "<div class=\"verdict of-run {}\"><strong>{}</strong> <b class=\"unit-serial\">{}</b></div>\n",
      word(verdict), headline, escaped(of));
}

std::string suite_pair_row(const SuiteRecord& record, const SuitePair& pair, const std::string& name) {
  std::string runs;
  for (const Attempt& attempt : pair.attempts) {
    const std::string said = verdict_mark(attempt.verdict, attempt.simulated);
    runs += attempt.folder.empty()
                ? said
                : fmt::format("<a href=\"{}\">{}</a> ", run_address(name + "/" + attempt.folder), said);
  }
  const std::string why = !pair.skipped_because.empty() ? pair.skipped_because
                          : pair.attempts.empty()       ? ""
                                                        : pair.attempts.back().reason;
  return fmt::format(
      "<tr><td data-of=\"gauge\">{}</td><td data-of=\"played\">{}</td><td data-of=\"outcome\">{}</td>"
      "<td data-of=\"runs\">{}</td><td data-of=\"why\">{}</td></tr>\n",
      escaped(pair.gauge_title), escaped(pair.scenario_title), word(record.outcome(pair)), runs,
      escaped(why));
}

}  // namespace

std::string run_frame_html(const RunFrame& frame) {
  const RunRecord& record = frame.record;
  const Verdict verdict = reported_verdict(record.result);
  std::string body = fmt::format("<h1>Run {}</h1>\n", escaped(frame.name)) + siblings_html(frame) +
                     verdict_banner(verdict, escaped(headline(record)), record.unit_serial);
  if (on_simulated_unit(record)) body += simulated_banner("This says nothing of a real unit.");
  body += causes_html(record) + fmt::format("<p class=\"reason\">{}</p>\n", escaped(reason(record))) +
          buttons_html(frame) + run_facts_html(frame) + not_passed_html(record);
  if (verdict != Verdict::pass) body += deviations_html(record);
  body += reference_form(frame) + files_html(frame);
  return framed_page("/runs", "Run " + frame.name, body);
}

std::string job_frame_html(const std::string& name, const std::vector<std::string>& parts, const Shop& shop) {
  std::string rows;
  for (const std::string& part : parts) {
    const std::optional<std::filesystem::path> folder = shop.run_folder(part);
    if (!folder) continue;
    const RunRecord record = load_run(*folder).record;
    rows += fmt::format(
        "<tr><td data-of=\"run\"><a href=\"{}\">{}</a></td><td data-of=\"unit\">{}</td><td "
        "data-of=\"verdict\">{}</td><td data-of=\"why\">{}</td></tr>\n",
        run_address(part), escaped(part.substr(name.size() + 1)), escaped(record.unit_serial),
        verdict_mark(reported_verdict(record.result), on_simulated_unit(record)), escaped(reason(record)));
  }
  return framed_page(
      "/runs", "Job " + name,
      fmt::format("<h1>Job {}</h1>\n<div class=\"scroll\"><table class=\"runs\">\n<thead><tr>"
                  "<th>run</th><th>unit</th><th>verdict</th><th>why</th></tr></thead>\n<tbody>\n{}"
                  "</tbody></table></div>\n",
                  escaped(name), rows));
}

std::string suite_frame_html(const std::string& name, const std::filesystem::path& folder) {
  const SuiteRecord record = load_suite(folder);
  std::string rows, notes;
  for (const SuitePair& pair : record.pairs) rows += suite_pair_row(record, pair, name);
  for (const std::string& doubt : record.doubts)
    notes += fmt::format("<p class=\"trouble\">{}</p>\n", escaped(as_sentence(doubt)));
  for (const std::string& note : record.notes)
    notes += fmt::format("<p>{}</p>\n", escaped(as_sentence(note)));
  return framed_page(
      "/runs", "Suite " + name,
      fmt::format(
          "<h1>Suite {}</h1>\n{}{}<div class=\"keys\">\n<a class=\"button\" href=\"{}/report\">Report</a>\n"
          "<form method=\"post\" action=\"{}/verify\"><button>Verify now</button></form>\n</div>\n"
          "<div class=\"scroll\"><table class=\"runs\">\n<thead><tr><th>gauge</th><th>played</th>"
          "<th>outcome</th><th>runs</th><th>why</th></tr></thead>\n<tbody>\n{}</tbody></table></div>\n",
          escaped(name), verdict_banner(record.verdict(), shouted(record.verdict()), ""), notes,
          run_address(name), run_address(name), rows));
}

}  // namespace tachproof
