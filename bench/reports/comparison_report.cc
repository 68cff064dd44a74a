#include "bench/reports/comparison_report.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "bench/reports/junit_suite.h"
#include "bench/reports/run_report.h"
#include "core/compare/cue_reading.h"

namespace tachproof {
namespace {

// Every corner of the profile; nothing where some were left out.
std::string train_of(const Trace& trace) {
  if (trace.thinned) return "";
  std::string train;
  for (const RpmPoint& point : trace.rpm) train += fmt::format("{}:{:.6f}\n", point.at, point.rpm);
  return train;
}

ComparedRun compared(const StoredRun& run) {
  const RunRecord& r = run.record;
  const Trace& trace = run.trace;
  // What was left out of a drawing was not looked at here either.
  const Nanos until = trace.thinned && !trace.lamps.empty() ? trace.lamps.back().at : r.result.duration;
  const StampTimes stamps =
      r.result.stamps.value_or(StampTimes{r.bench.watcher.resolution, r.bench.watcher.stamp_uncertainty, 0});
  const double resolution_s = to_seconds(stamps.width) / std::sqrt(12.0);
  return {r.gauge,
          r.result,
          shown_cues(r.gauge, trace.reaches, trace.lamps, until),
          std::hypot(resolution_s, to_seconds(stamps.uncertainty)),
          r.bench.source.clock_ppm,
          train_of(trace)};
}

// Of a run whose files cannot be read nothing is known, not even its settings.
void require_settings(const std::string& name, const StoredRun& run) {
  if (!run.record.gauge.windows.empty()) return;
  const std::vector<std::string>& notes = run.record.result.notes;
  throw std::runtime_error(fmt::format("{} has no settings that could be compared. {}", name,
                                       notes.empty() ? "Its gauge has no windows." : notes.front()));
}

void add_notes(ComparisonRecord& record) {
  std::vector<std::string>& notes = record.comparison.notes;
  const RunRecord& before = record.before;
  const RunRecord& after = record.after;
  if (before.unit_serial != after.unit_serial)
    notes.push_back(
        fmt::format("These are two different units: {} and {}.",
                    before.unit_serial.empty() ? "one without a serial number" : before.unit_serial,
                    after.unit_serial.empty() ? "one without a serial number" : after.unit_serial));
  if (before.source != after.source || before.watch != after.watch)
    notes.push_back(fmt::format("The rigs differ: {} and {} in the old run, {} and {} in the new one.",
                                before.source, before.watch, after.source, after.watch));
  if (after.result.verdict != Verdict::pass)
    notes.push_back(
        fmt::format("Judged by its own settings, the new run is {}. This comparison says only what changed.",
                    after.result.verdict == Verdict::fail ? "a fail" : "undecided"));
}

std::size_t count(const Comparison& comparison, ChangeWord w) {
  return static_cast<std::size_t>(std::count_if(comparison.items.begin(), comparison.items.end(),
                                                [&](const ComparisonItem& i) { return i.word == w; }));
}

std::string shown(ChangeWord w) {
  switch (w) {
    case ChangeWord::as_intended: return "as intended";
    case ChangeWord::unintended: return "UNINTENDED";
    case ChangeWord::missing: return "MISSING";
    case ChangeWord::cannot_tell: return "cannot tell";
  }
  return "";
}

Verdict verdict_of_row(ChangeWord w) {
  return w == ChangeWord::as_intended   ? Verdict::pass
         : w == ChangeWord::cannot_tell ? Verdict::undecided
                                        : Verdict::fail;
}

std::string numbers(const ComparisonItem& i) {
  const std::string unit = i.unit.empty() ? "" : " " + i.unit;
  std::string text = fmt::format("expected change {}{}, observed {}{}, U {}{}, |E_n| {}",
                                 row_number(i, i.expected_change), unit, row_number(i, i.observed_change),
                                 unit, fixed(i.uncertainty, 2), unit, fixed(i.e_n, 2));
  return i.remark.empty() ? text : text + "; " + i.remark;
}

}  // namespace

ComparisonRecord comparison_of(const std::string& before_name, const StoredRun& before,
                               const std::string& after_name, const StoredRun& after) {
  require_settings(before_name, before);
  require_settings(after_name, after);
  ComparisonRecord record;
  record.before_name = before_name;
  record.after_name = after_name;
  record.before = before.record;
  record.after = after.record;
  record.before_run = compared(before);
  record.after_run = compared(after);
  record.comparison = compare(record.before_run, record.after_run);
  add_notes(record);
  return record;
}

std::string comparison_answer(const ComparisonRecord& record) {
  const Comparison& c = record.comparison;
  const std::size_t cannot = count(c, ChangeWord::cannot_tell);
  std::string counts;
  for (const auto& [w, name] :
       {std::pair(ChangeWord::unintended, "unintended"), std::pair(ChangeWord::missing, "missing"),
        std::pair(ChangeWord::cannot_tell, "undecided")})
    if (const std::size_t n = count(c, w); n > 0)
      counts += fmt::format("{}{} {}", counts.empty() ? "" : ", ", n, name);
  const auto all = fmt::format("Of {} rows, {}", c.items.size(), counts);
  switch (c.verdict) {
    case Verdict::pass: return fmt::format("PASS: all {} rows are as intended.", c.items.size());
    case Verdict::fail: return fmt::format("FAIL: {}.", all);
    case Verdict::undecided: break;
  }
  if (c.items.empty()) return "UNDECIDED: there is nothing to compare.";
  return cannot > 0 ? fmt::format("UNDECIDED: {}.", all) : "UNDECIDED: a run is not complete.";
}

std::string row_title(const ComparisonItem& i) {
  return i.direction ? i.what + " " + std::string(word(*i.direction)) : i.what;
}

std::string row_number(const ComparisonItem& i, double value) {
  if (!std::isfinite(value)) return "-";
  if (i.what == "cue" || i.what.starts_with("finding")) return fixed(value, 0);
  return with_sign(value, decimals_for(i.uncertainty));
}

std::string comparison_text(const ComparisonRecord& record, int width) {
  const auto columns = static_cast<std::size_t>(std::max(width, 60));
  const std::size_t boundary_room = 12;
  std::string text = fmt::format("{:<{}} {:<23}{:>9}{:>9}{:>8}{:>6} {}\n", "boundary", boundary_room,
                                 "change of", "expected", "observed", "U", "|E_n|", "");
  for (const ComparisonItem& i : record.comparison.items) {
    const std::string title = row_title(i) + (i.unit.empty() || i.unit == "rpm" ? "" : " " + i.unit);
    text +=
        fmt::format("{:<{}} {:<23}{:>9}{:>9}{:>8}{:>6} {}\n", shortened(printable(i.boundary), boundary_room),
                    boundary_room, shortened(printable(title), 22), row_number(i, i.expected_change),
                    row_number(i, i.observed_change),
                    std::isfinite(i.uncertainty) ? fixed(i.uncertainty, decimals_for(i.uncertainty)) : "-",
                    std::isfinite(i.e_n) ? fixed(i.e_n, 1) : "-", shown(i.word));
    if (i.word == ChangeWord::as_intended || i.remark.empty()) continue;
    for (const std::string& line : wrapped(printable(i.remark), columns - 4)) text += "    " + line + "\n";
  }
  if (!record.accepted.empty()) text += "\n" + printable(record.accepted) + "\n";
  if (!record.comparison.notes.empty()) text += "\nNotes\n";
  for (const std::string& note : record.comparison.notes) {
    std::string lead = "  - ";
    for (const std::string& line : wrapped(printable(note), columns - 4)) {
      text += lead + line + "\n";
      lead = "    ";
    }
  }
  return text + "\n" + comparison_answer(record) + "\n";
}

std::string comparison_json(const Comparison& comparison) {
  Json items = Json::array();
  for (const ComparisonItem& i : comparison.items) {
    items.push_back({{"what", text_to_json(i.what)},
                     {"boundary", text_to_json(i.boundary)},
                     {"direction", i.direction ? Json(word(*i.direction)) : Json(nullptr)},
                     {"expected_change", number_to_json(i.expected_change)},
                     {"observed_change", number_to_json(i.observed_change)},
                     {"uncertainty", number_to_json(i.uncertainty)},
                     {"e_n", number_to_json(i.e_n)},
                     {"word", word(i.word)}});
    if (i.word != ChangeWord::as_intended && !i.remark.empty())
      items.back()["remark"] = text_to_json(i.remark);
  }
  const Json json = {{"verdict", word(comparison.verdict)}, {"items", std::move(items)}};
  return json_text(json, 2) + "\n";
}

std::string comparison_junit(const ComparisonRecord& record) {
  JunitSuite suite;
  suite.name = "comparison on " + record.after.gauge_name;
  suite.properties = {
      {"tool_version", record.after.tool_version}, {"unit_serial", record.after.unit_serial},
      {"old_run", record.before.report_id},        {"old_gauge_sha256", record.before.gauge_sha256},
      {"new_run", record.after.report_id},         {"new_gauge_sha256", record.after.gauge_sha256}};
  for (const ComparisonItem& i : record.comparison.items)
    suite.cases.push_back({i.boundary + " " + row_title(i), i.what.substr(0, i.what.find_first_of(",:")), 0,
                           verdict_of_row(i.word), numbers(i)});
  // The verdict itself, so that the suite is green only when it is a pass.
  suite.cases.push_back(
      {"verdict of the comparison", "comparison", 0, record.comparison.verdict, comparison_answer(record)});
  return junit_xml(suite);
}

}  // namespace tachproof
