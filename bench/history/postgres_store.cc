#include "bench/history/postgres_store.h"

#include <fmt/format.h>

#include <unordered_map>

#include "bench/history/history_rows.h"
#include "bench/history/postgres_schema.h"
#include "bench/record/json_values.h"

namespace tachproof {
namespace {

constexpr int write_patience_s = 15;  // while another bench writes
constexpr int list_patience_s = 5;    // a page that says so is better than one that never comes

constexpr const char* asked_for =
    "($1 = '' OR unit_serial = $1) AND ($2 = '' OR gauge = $2) AND ($3 = '' OR scenario = $3) "
    "AND ($4 = '' OR substr(started, 1, 10) >= ($4::text COLLATE \"C\"))";

void bind_asked_for(PgStatement& rows, const HistoryFilter& filter) {
  rows.bind(filter.unit).bind(filter.gauge).bind(filter.scenario).bind(filter.since);
}

// Lists go to the server as one value, so that a run is a few statements however many rows it has.
Json json_of(const BoundaryResult& b, std::int64_t place) {
  return {{"place", place},
          {"boundary", text_to_json(b.boundary)},
          {"direction", word(b.direction)},
          {"nominal_rpm", number_to_json(b.nominal_rpm)},
          {"threshold_rpm", number_to_json(b.threshold_rpm)},
          {"expanded_uncertainty_rpm", number_to_json(b.expanded_uncertainty_rpm)},
          {"response_ms", number_to_json(b.response_ms)},
          {"verdict", word(b.verdict)}};
}

// Fills each run's own list from the rows of all of them: the run's id, then what `one` reads.
template <class List, class One>
void fill(const PgConnection& db, const HistoryFilter& filter, const std::string& columns,
          const std::string& from, std::vector<HistoryRun>& runs, List HistoryRun::*list, One one) {
  std::unordered_map<std::int64_t, std::size_t> places;
  for (std::size_t i = 0; i < runs.size(); ++i) places[runs[i].id] = i;
  PgStatement rows(db, fmt::format("SELECT x.run, {} JOIN tachproof.runs ON runs.id = x.run WHERE {} {}",
                                   columns, asked_for, from));
  bind_asked_for(rows, filter);
  while (rows.step())
    if (const auto place = places.find(rows.whole(0)); place != places.end())
      (runs[place->second].*list).push_back(one(rows));
}

}  // namespace

std::unique_ptr<HistoryStore> open_postgres_store(const HistoryPlace& place, HistoryStore::Open how) {
  return std::make_unique<PostgresStore>(place, how);
}

PostgresStore::PostgresStore(const HistoryPlace& place, Open how)
    : db_(place, how == Open::list ? list_patience_s : write_patience_s) {
  bring_up_to_date(db_, place, how);
}

void PostgresStore::insert_rows(std::int64_t run, const RunRecord& record) {
  Json boundaries = Json::array(), causes = Json::array();
  for (const BoundaryResult& b : record.result.boundaries)
    // Where a press has put it says nothing of the unit's drift.
    if (b.state.empty()) boundaries.push_back(json_of(b, static_cast<std::int64_t>(boundaries.size())));
  for (const Cause& cause : record.causes.list)
    causes.push_back({{"place", causes.size()},
                      {"text", text_to_json(cause.text)},
                      {"explains", cause.explains},
                      {"findings", cause.of}});
  if (!boundaries.empty())
    PgStatement(
        db_,
        "INSERT INTO tachproof.boundaries SELECT $1::bigint, b.* FROM jsonb_to_recordset($2::jsonb) AS b "
        "(place integer, boundary text, direction text, nominal_rpm double precision, threshold_rpm "
        "double precision, expanded_uncertainty_rpm double precision, response_ms double precision, "
        "verdict text)")
        .bind(run)
        .bind(json_for_server(json_text(boundaries)))
        .step();
  if (!causes.empty())
    PgStatement(db_,
                "INSERT INTO tachproof.causes SELECT $1::bigint, c.* FROM jsonb_to_recordset($2::jsonb) AS c "
                "(place integer, text text, explains bigint, findings bigint)")
        .bind(run)
        .bind(json_for_server(json_text(causes)))
        .step();
}

bool PostgresStore::add(const CountedRun& run) {
  const RunRecord& record = run.record;
  PgTransaction transaction(db_);
  PgStatement insert(
      db_,
      "INSERT INTO tachproof.runs (result_sha256, report_id, folder, started, started_s, unit_serial, gauge, "
      "gauge_sha256, scenario, scenario_sha256, source, watch, tested_by, tool_version, verdict, complete, "
      "duration_s, tolerance_rpm, result) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, "
      "$14, $15, $16, $17, $18, $19) ON CONFLICT (result_sha256) DO NOTHING RETURNING id");
  bind_run(insert, run);
  insert.bind(json_for_server(run.result));
  const bool is_new = insert.step();
  if (is_new)
    insert_rows(insert.whole(0), record);
  else
    PgStatement(db_, std::string("INSERT INTO tachproof.moved (run, folder) SELECT id, $2 FROM ") +
                         runs_where_they_are + " WHERE result_sha256 = $1 AND folder <> $2")
        .bind(run.result_sha256)
        .bind(run.folder)
        .step();
  transaction.commit();
  return is_new;
}

bool PostgresStore::accept(const std::string& result_sha256, const Acceptance& acceptance) {
  PgTransaction transaction(db_);
  // One at a time: numbers rise in the order in which acceptances can be seen.
  take(db_, PgLock::acceptances);
  PgStatement insert(db_,
                     "INSERT INTO tachproof.accepted (run, at, who, why) SELECT id, $2, $3, $4 FROM "
                     "tachproof.runs WHERE result_sha256 = $1 RETURNING id");
  insert.bind(result_sha256).bind(acceptance.at).bind(acceptance.who).bind(acceptance.why);
  const bool accepted = insert.step();
  transaction.commit();
  return accepted;
}

std::vector<HistoryRun> PostgresStore::runs(const HistoryFilter& filter) const {
  PgTransaction moment(db_, "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY");
  std::vector<HistoryRun> all;
  {
    PgStatement rows(db_, fmt::format("SELECT id, report_id, folder, started, started_s, unit_serial, gauge, "
                                      "scenario, source, tested_by, tool_version, verdict, complete, "
                                      "duration_s, tolerance_rpm, watch, gauge_sha256 FROM {} WHERE {} "
                                      "ORDER BY started_s, id",
                                      runs_where_they_are, asked_for));
    bind_asked_for(rows, filter);
    while (rows.step()) all.push_back(history_run(rows));
  }
  fill(db_, filter,
       "x.boundary, x.direction, x.nominal_rpm, x.threshold_rpm, x.expanded_uncertainty_rpm, x.response_ms, "
       "x.verdict FROM tachproof.boundaries x",
       "ORDER BY x.run, x.place", all, &HistoryRun::boundaries,
       [](const PgStatement& row) { return history_boundary(row, 1); });
  fill(db_, filter, "x.at, x.who, x.why, x.id FROM tachproof.accepted x", "ORDER BY x.id", all,
       &HistoryRun::accepted, [](const PgStatement& row) { return history_acceptance(row, 1); });
  fill(db_, filter, "x.text, x.explains, x.findings FROM tachproof.causes x", "ORDER BY x.run, x.place", all,
       &HistoryRun::causes, [](const PgStatement& row) { return history_cause(row, 1); });
  moment.commit();
  return all;
}

std::optional<ReferenceRun> PostgresStore::reference(const std::string& unit_or_gauge) const {
  PgStatement select(db_,
                     std::string("SELECT folder, result_sha256, a.at, a.who, a.why, a.id FROM "
                                 "tachproof.accepted a JOIN ") +
                         runs_where_they_are +
                         " ON runs.id = a.run WHERE unit_serial = $1 OR (unit_serial = '' AND gauge = $1) "
                         "ORDER BY unit_serial = '', a.id DESC LIMIT 1");
  if (unit_or_gauge.empty() || !select.bind(unit_or_gauge).step()) return std::nullopt;
  return reference_run(select);
}

}  // namespace tachproof
