// What a row of the history says, and what a list is asked by, whichever store it comes from. `Rows` is a
// statement: bind(value), step(), and at a row text(column), whole(column), number(column).
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "bench/history/counted_run.h"
#include "bench/history/history_run.h"
#include "bench/history/listed_run.h"
#include "bench/record/summary.h"

namespace tachproof {

inline Verdict verdict_from_word(const std::string& text) {
  return text == word(Verdict::pass)   ? Verdict::pass
         : text == word(Verdict::fail) ? Verdict::fail
                                       : Verdict::undecided;
}
inline Direction direction_from_word(const std::string& text) {
  return text == word(Direction::falling) ? Direction::falling : Direction::rising;
}

// id, report_id, folder, started, started_s, unit_serial, gauge, scenario, source, tested_by, tool_version,
// verdict, complete, duration_s, tolerance_rpm, watch, gauge_sha256
template <class Rows>
HistoryRun history_run(const Rows& rows) {
  HistoryRun run;
  run.id = rows.whole(0);
  run.report_id = rows.text(1);
  run.folder = rows.text(2);
  run.started = rows.text(3);
  run.started_s = rows.whole(4);
  run.unit_serial = rows.text(5);
  run.gauge = rows.text(6);
  run.scenario = rows.text(7);
  run.source = rows.text(8);
  run.tested_by = rows.text(9);
  run.tool_version = rows.text(10);
  run.verdict = verdict_from_word(rows.text(11));
  run.complete = rows.whole(12) != 0;
  run.duration_s = rows.number(13);
  run.tolerance_rpm = rows.number(14);
  run.simulated = is_simulated_unit(rows.text(15));
  run.gauge_sha256 = rows.text(16);
  return run;
}

// boundary, direction, nominal_rpm, threshold_rpm, expanded_uncertainty_rpm, response_ms, verdict
template <class Rows>
HistoryBoundary history_boundary(const Rows& rows, int from) {
  return {rows.text(from),
          direction_from_word(rows.text(from + 1)),
          rows.number(from + 2),
          rows.number(from + 3),
          rows.number(from + 4),
          rows.number(from + 5),
          verdict_from_word(rows.text(from + 6))};
}

// text, explains, findings
template <class Rows>
HistoryCause history_cause(const Rows& rows, int from) {
  return {rows.text(from), static_cast<std::uint64_t>(rows.whole(from + 1)),
          static_cast<std::uint64_t>(rows.whole(from + 2))};
}

// at, who, why, id
template <class Rows>
Acceptance history_acceptance(const Rows& rows, int from) {
  return {rows.text(from), rows.text(from + 1), rows.text(from + 2), rows.whole(from + 3)};
}

// folder, result_sha256, then an acceptance
template <class Rows>
ReferenceRun reference_run(const Rows& rows) {
  return {rows.text(0), rows.text(1), history_acceptance(rows, 2)};
}

// folder, started, unit_serial, gauge, scenario, verdict, complete, watch
template <class Rows>
ListedRun listed_run(const Rows& rows) {
  ListedRun run;
  run.folder = rows.text(0);
  run.started = rows.text(1);
  run.unit = rows.text(2);
  run.gauge = rows.text(3);
  run.scenario = rows.text(4);
  run.verdict = verdict_from_word(rows.text(5));
  if (run.verdict == Verdict::pass && rows.whole(6) == 0) run.verdict = Verdict::undecided;
  run.simulated = is_simulated_unit(rows.text(7));
  return run;
}

inline ListedUnit listed_unit(ListedRun last, std::int64_t runs) {
  ListedUnit unit;
  unit.unit = last.unit;
  unit.simulated = last.simulated;
  unit.last_day = last.started.substr(0, 10);
  unit.runs = static_cast<std::size_t>(runs);
  unit.last = std::move(last);
  return unit;
}

// Rows of id, started_s, unit_serial, gauge, gauge_sha256, tolerance_rpm, then a boundary: a run has
// several, one after another.
template <class Rows>
std::vector<HistoryRun> measured_runs(Rows& rows, bool simulated) {
  std::vector<HistoryRun> all;
  while (rows.step()) {
    if (all.empty() || all.back().id != rows.whole(0)) {
      HistoryRun& run = all.emplace_back();
      run.id = rows.whole(0);
      run.started_s = rows.whole(1);
      run.unit_serial = rows.text(2);
      run.gauge = rows.text(3);
      run.gauge_sha256 = rows.text(4);
      run.tolerance_rpm = rows.number(5);
      run.simulated = simulated;
      run.complete = true;
    }
    all.back().boundaries.push_back(history_boundary(rows, 6));
  }
  return all;
}

// In the order of the columns of `runs`, from result_sha256 to tolerance_rpm.
template <class Rows>
void bind_run(Rows& insert, const CountedRun& run) {
  const RunRecord& record = run.record;
  insert.bind(run.result_sha256).bind(record.report_id).bind(run.folder);
  insert.bind(record.started).bind(run.started_s);
  insert.bind(record.unit_serial).bind(record.gauge_name).bind(record.gauge_sha256);
  insert.bind(record.scenario_name).bind(record.scenario_sha256).bind(record.source).bind(record.watch);
  insert.bind(record.certificate ? record.certificate->tested_by : "").bind(record.tool_version);
  insert.bind(std::string(word(record.result.verdict))).bind(record.result.complete);
  insert.bind(to_seconds(record.result.duration));
  insert.bind(record.gauge.tolerance.rpm + record.extra_tolerance_rpm);
}

// Values 1 to 7 of a list of runs, 1 to 3 of one of units, 1 to 4 of what was measured.
template <class Rows>
void bind_filter(Rows& rows, const RunListFilter& filter) {
  for (const std::string* text : {&filter.unit, &filter.gauge, &filter.scenario, &filter.verdict,
                                  &filter.since, &filter.find, &filter.beneath})
    rows.bind(*text);
}
template <class Rows>
void bind_filter(Rows& rows, const UnitListFilter& filter) {
  rows.bind(filter.gauge).bind(filter.find).bind(filter.simulated);
}
template <class Rows>
void bind_filter(Rows& rows, const MeasuredFilter& filter) {
  rows.bind(filter.unit).bind(filter.gauge).bind(filter.since).bind(filter.simulated);
}

// The first row's number; 0 where there is none.
template <class Rows>
std::size_t counted(Rows& rows) {
  return rows.step() ? static_cast<std::size_t>(rows.whole(0)) : 0;
}
// What `one` reads of each row.
template <class Rows, class One>
auto all_of(Rows& rows, One one) {
  std::vector<decltype(one(rows))> all;
  while (rows.step()) all.push_back(one(rows));
  return all;
}

// "watch IN ('simulated')" of all that watched a run: those that are software.
template <class Texts>
std::string simulated_sql(const Texts& watches) {
  std::string list;
  for (const std::string& watch : watches) {
    if (!is_simulated_unit(watch)) continue;
    list += list.empty() ? "'" : ", '";
    for (const char c : watch) list += c == '\'' ? std::string("''") : std::string(1, c);
    list += "'";
  }
  return list.empty() ? "1 = 0" : "watch IN (" + list + ")";
}

}  // namespace tachproof
