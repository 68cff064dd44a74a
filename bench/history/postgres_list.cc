// Lists, as SqliteStore's in sqlite_list.cc.
#include <fmt/format.h>

#include "bench/history/history_rows.h"
#include "bench/history/postgres_store.h"

namespace tachproof {
namespace {

// The columns of listed_run(), then the first cause and how many there are.
constexpr const char* listed_columns =
    "folder, started, unit_serial, gauge, scenario, verdict, complete, watch, "
    "(SELECT c.text FROM tachproof.causes c WHERE c.run = runs.id ORDER BY c.place LIMIT 1), "
    "(SELECT count(*) FROM tachproof.causes c WHERE c.run = runs.id)";

// $1 to $7. "C": by the bytes, whatever language the database speaks.
constexpr const char* list_filter =
    "($1 = '' OR unit_serial = $1) AND ($2 = '' OR gauge = $2) AND ($3 = '' OR scenario = $3) "
    "AND ($4 = '' OR CASE WHEN complete OR verdict = 'fail' THEN verdict ELSE 'undecided' END = $4) "
    "AND ($5 = '' OR substr(started, 1, 10) >= ($5::text COLLATE \"C\")) "
    "AND ($7 = '' OR starts_with(folder, $7::text || '/')) "
    "AND ($6 = '' OR strpos(lower(unit_serial), lower($6)) > 0 OR strpos(lower(gauge), lower($6)) > 0 "
    "OR strpos(lower(scenario), lower($6)) > 0 "
    "OR strpos(lower(substr(folder, length($7) + 1)), lower($6)) > 0)";

ListedRun listed_with_causes(const PgStatement& rows) {
  ListedRun run = listed_run(rows);
  run.cause = rows.text(8);
  const std::int64_t causes = rows.whole(9);
  run.more_causes = causes > 0 ? static_cast<std::size_t>(causes) - 1 : 0;
  return run;
}

std::string unit_list_filter(const std::string& simulated) {
  return fmt::format(
      "unit_serial <> '' AND ($1 = '' OR gauge = $1) AND ($2 = '' OR strpos(lower(unit_serial), lower($2)) > "
      "0) AND ({}) = $3",
      simulated);
}

}  // namespace

const std::string& PostgresStore::simulated() const {
  if (!simulated_) simulated_ = simulated_sql(db_.texts("SELECT DISTINCT watch FROM tachproof.runs"));
  return *simulated_;
}

std::size_t PostgresStore::count(const RunListFilter& filter) const {
  PgStatement rows(db_, fmt::format("SELECT count(*) FROM {} WHERE {}", runs_where_they_are, list_filter));
  bind_filter(rows, filter);
  return counted(rows);
}

std::vector<ListedRun> PostgresStore::listed(const RunListFilter& filter, std::size_t most,
                                             std::size_t after) const {
  PgStatement rows(
      db_, fmt::format("SELECT {} FROM {} WHERE {} ORDER BY started_s DESC, id DESC LIMIT $8 OFFSET $9",
                       listed_columns, runs_where_they_are, list_filter));
  bind_filter(rows, filter);
  rows.bind(most).bind(after);
  return all_of(rows, listed_with_causes);
}

std::vector<std::string> PostgresStore::folders(const std::string& beneath) const {
  PgStatement rows(db_, fmt::format("SELECT folder FROM {} WHERE starts_with(folder, $1::text || '/')",
                                    runs_where_they_are));
  rows.bind(beneath);
  return all_of(rows, [](const PgStatement& row) { return row.text(0); });
}

std::vector<std::string> PostgresStore::gauges() const {
  return db_.texts("SELECT DISTINCT gauge COLLATE \"C\" FROM tachproof.runs ORDER BY 1");
}
std::vector<std::string> PostgresStore::scenarios() const {
  return db_.texts("SELECT DISTINCT scenario COLLATE \"C\" FROM tachproof.runs ORDER BY 1");
}

std::size_t PostgresStore::count(const UnitListFilter& filter) const {
  PgStatement rows(
      db_, "SELECT count(DISTINCT unit_serial) FROM tachproof.runs WHERE " + unit_list_filter(simulated()));
  bind_filter(rows, filter);
  return counted(rows);
}

std::vector<ListedUnit> PostgresStore::units(const UnitListFilter& filter, std::size_t most,
                                             std::size_t after) const {
  PgStatement rows(
      db_,
      fmt::format("SELECT {}, of_unit FROM (SELECT DISTINCT ON (unit_serial) *, count(*) OVER (PARTITION "
                  "BY unit_serial) AS of_unit FROM {} WHERE {} ORDER BY unit_serial, started_s DESC, id "
                  "DESC) AS runs ORDER BY started_s DESC, id DESC LIMIT $4 OFFSET $5",
                  listed_columns, runs_where_they_are, unit_list_filter(simulated())));
  bind_filter(rows, filter);
  rows.bind(most).bind(after);
  return all_of(rows,
                [](const PgStatement& row) { return listed_unit(listed_with_causes(row), row.whole(10)); });
}

std::vector<HistoryRun> PostgresStore::measured(const MeasuredFilter& filter, std::size_t most) const {
  PgStatement rows(
      db_,
      fmt::format("SELECT r.id, r.started_s, r.unit_serial, r.gauge, r.gauge_sha256, r.tolerance_rpm, "
                  "b.boundary, b.direction, b.nominal_rpm, b.threshold_rpm, b.expanded_uncertainty_rpm, "
                  "b.response_ms, b.verdict FROM (SELECT id, started_s, unit_serial, gauge, gauge_sha256, "
                  "tolerance_rpm FROM tachproof.runs WHERE ($1 = '' OR unit_serial = $1) AND complete AND "
                  "unit_serial <> '' AND ($2 = '' OR gauge = $2) AND ($3 = '' OR substr(started, 1, 10) >= "
                  "($3::text COLLATE \"C\")) AND ({}) = $4 ORDER BY started_s DESC, id DESC LIMIT $5) r JOIN "
                  "tachproof.boundaries b ON b.run = r.id ORDER BY r.started_s, r.id, b.place",
                  simulated()));
  bind_filter(rows, filter);
  rows.bind(most);
  return measured_runs(rows, filter.simulated);
}

}  // namespace tachproof
