#include "bench/history/sqlite_store.h"

#include <fmt/format.h>

#include <stdexcept>
#include <system_error>

#include "bench/history/history_rows.h"

namespace tachproof {
namespace {

constexpr int history_id = 0x54504831;  // "TPH1"
constexpr int schema_version = 2;
constexpr int patience_ms = 15'000;      // while another bench writes
constexpr int list_patience_ms = 2'000;  // a page that says so is better than one that never comes

// `accepted` is for references: runs that somebody has declared good.
constexpr const char* schema = R"sql(
CREATE TABLE runs (
  id INTEGER PRIMARY KEY,
  result_sha256 TEXT NOT NULL UNIQUE,
  report_id TEXT NOT NULL,
  folder TEXT NOT NULL,
  started TEXT NOT NULL,
  started_s INTEGER NOT NULL,
  unit_serial TEXT NOT NULL,
  gauge TEXT NOT NULL,
  gauge_sha256 TEXT NOT NULL,
  scenario TEXT NOT NULL,
  scenario_sha256 TEXT NOT NULL,
  source TEXT NOT NULL,
  watch TEXT NOT NULL,
  tested_by TEXT NOT NULL,
  tool_version TEXT NOT NULL,
  verdict TEXT NOT NULL CHECK (verdict IN ('pass', 'fail', 'undecided')),
  complete INTEGER NOT NULL,
  duration_s REAL NOT NULL,
  tolerance_rpm REAL
);
CREATE INDEX runs_by_unit ON runs (unit_serial, started_s);
CREATE INDEX runs_by_gauge ON runs (gauge, started_s);
CREATE INDEX runs_by_scenario ON runs (scenario, started_s);
CREATE INDEX runs_by_date ON runs (started_s);
CREATE TABLE boundaries (
  run INTEGER NOT NULL REFERENCES runs (id),
  place INTEGER NOT NULL,
  boundary TEXT NOT NULL,
  direction TEXT NOT NULL CHECK (direction IN ('rising', 'falling')),
  nominal_rpm REAL,
  threshold_rpm REAL,
  expanded_uncertainty_rpm REAL,
  response_ms REAL,
  verdict TEXT NOT NULL CHECK (verdict IN ('pass', 'fail', 'undecided')),
  PRIMARY KEY (run, place)
) WITHOUT ROWID;
CREATE TABLE accepted (
  id INTEGER PRIMARY KEY,
  run INTEGER NOT NULL REFERENCES runs (id),
  at TEXT NOT NULL,
  who TEXT NOT NULL,
  why TEXT NOT NULL
);
)sql";

// Format 2, above the first: causes of failed runs.
constexpr const char* schema_2 = R"sql(
CREATE TABLE causes (
  run INTEGER NOT NULL REFERENCES runs (id),
  place INTEGER NOT NULL,
  text TEXT NOT NULL,
  explains INTEGER NOT NULL,
  findings INTEGER NOT NULL,
  PRIMARY KEY (run, place)
) WITHOUT ROWID;
)sql";

std::filesystem::path made_ready(const HistoryPlace& place, HistoryStore::Open how) {
  std::filesystem::path file = place.text();
  std::error_code error;
  if (how == HistoryStore::Open::existing && !std::filesystem::exists(file, error))
    throw std::runtime_error(fmt::format("there is no history at {} yet", file.string()));
  if (how == HistoryStore::Open::make && file.has_parent_path()) {
    std::filesystem::create_directories(file.parent_path(), error);
    if (error)
      throw std::runtime_error(
          fmt::format("cannot make {}: {}", file.parent_path().string(), error.message()));
  }
  return file;
}

void must_be_history(const SqliteFile& db, const HistoryPlace& place) {
  if (!db.is_marked_as(history_id))
    throw std::runtime_error(
        fmt::format("{} is not a history of Tachproof: name another file with --history", place.text()));
}

std::int64_t version_of(const SqliteFile& db) { return db.number("PRAGMA user_version"); }

void make_schema(const SqliteFile& db) {
  SqliteTransaction transaction(db);
  // Another bench may have made it while this one waited.
  if (version_of(db) != 0 || db.number("SELECT count(*) FROM sqlite_schema") != 0) return;
  db.run(schema);
  db.run(schema_2);
  db.mark_as(history_id);
  db.run(fmt::format("PRAGMA user_version = {}", schema_version));
  transaction.commit();
}

// From format 1: what is there stays as it is.
void renew(const SqliteFile& db) {
  SqliteTransaction transaction(db);
  if (version_of(db) != 1) return;
  db.run(schema_2);
  db.run("PRAGMA user_version = 2");
  transaction.commit();
}

void insert_boundaries(const SqliteFile& db, std::int64_t run,
                       const std::vector<BoundaryResult>& boundaries) {
  SqliteStatement insert(db, "INSERT INTO boundaries VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)");
  std::int64_t place = 0;
  for (const BoundaryResult& b : boundaries) {
    if (!b.state.empty()) continue;  // where a press has put it says nothing of the unit's drift
    insert.bind(run).bind(place++).bind(b.boundary).bind(std::string(word(b.direction)));
    insert.bind(b.nominal_rpm).bind(b.threshold_rpm).bind(b.expanded_uncertainty_rpm).bind(b.response_ms);
    insert.bind(std::string(word(b.verdict)));
    insert.step();
    insert.reset();
  }
}

void insert_causes(const SqliteFile& db, std::int64_t run, const std::vector<Cause>& causes) {
  // Of a run that is in already those that are there stay: its result has not changed.
  SqliteStatement insert(db, "INSERT OR IGNORE INTO causes VALUES (?, ?, ?, ?, ?)");
  std::int64_t place = 0;
  for (const Cause& cause : causes) {
    insert.bind(run).bind(place++).bind(cause.text);
    insert.bind(static_cast<std::int64_t>(cause.explains)).bind(static_cast<std::int64_t>(cause.of));
    insert.step();
    insert.reset();
  }
}

std::vector<HistoryCause> causes_of(const SqliteFile& db, std::int64_t run) {
  SqliteStatement select(db, "SELECT text, explains, findings FROM causes WHERE run = ? ORDER BY place");
  select.bind(run);
  std::vector<HistoryCause> all;
  while (select.step()) all.push_back(history_cause(select, 0));
  return all;
}

std::vector<HistoryBoundary> boundaries_of(const SqliteFile& db, std::int64_t run) {
  SqliteStatement select(db,
                         "SELECT boundary, direction, nominal_rpm, threshold_rpm, expanded_uncertainty_rpm, "
                         "response_ms, verdict FROM boundaries WHERE run = ? ORDER BY place");
  select.bind(run);
  std::vector<HistoryBoundary> all;
  while (select.step()) all.push_back(history_boundary(select, 0));
  return all;
}

std::vector<Acceptance> acceptances_of(const SqliteFile& db, std::int64_t run) {
  SqliteStatement select(db, "SELECT at, who, why, id FROM accepted WHERE run = ? ORDER BY id");
  select.bind(run);
  std::vector<Acceptance> all;
  while (select.step()) all.push_back(history_acceptance(select, 0));
  return all;
}

}  // namespace

std::unique_ptr<HistoryStore> open_sqlite_store(const HistoryPlace& place, HistoryStore::Open how) {
  return std::make_unique<SqliteStore>(place, how);
}

SqliteStore::SqliteStore(const HistoryPlace& place, Open how)
    : db_(made_ready(place, how), how == Open::make ? SqliteFile::Open::make : SqliteFile::Open::existing,
          how == Open::list ? list_patience_ms : patience_ms) {
  if (how == Open::list) {
    // Room for all runs of many years: what is counted is listed next, and read once.
    db_.run("PRAGMA query_only = ON; PRAGMA trusted_schema = OFF; PRAGMA cache_size = -32768");
    must_be_history(db_, place);
    // A file of an older program has none.
    has_causes_ =
        db_.number("SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = 'causes'") > 0;
    return;
  }
  db_.run("PRAGMA foreign_keys = ON; PRAGMA synchronous = EXTRA; PRAGMA trusted_schema = OFF");
  if (version_of(db_) == 0) make_schema(db_);
  must_be_history(db_, place);
  if (version_of(db_) == 1)
    renew(db_);
  else if (version_of(db_) != schema_version)
    throw std::runtime_error(fmt::format("the history {} has format {}, and this program knows format {}",
                                         place.text(), version_of(db_), schema_version));
}

bool SqliteStore::add(const CountedRun& run) {
  const RunRecord& record = run.record;
  SqliteTransaction transaction(db_);
  SqliteStatement known(db_, "UPDATE runs SET folder = ? WHERE result_sha256 = ? RETURNING id");
  const bool is_new = !known.bind(run.folder).bind(run.result_sha256).step();
  std::int64_t id = is_new ? 0 : known.whole(0);
  known.reset();
  if (is_new) {
    SqliteStatement insert(
        db_, "INSERT INTO runs VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)");
    bind_run(insert, run);
    insert.step();
    id = db_.number("SELECT last_insert_rowid()");
    insert_boundaries(db_, id, record.result.boundaries);
  }
  insert_causes(db_, id, record.causes.list);
  transaction.commit();
  return is_new;
}

std::vector<HistoryRun> SqliteStore::runs(const HistoryFilter& filter) const {
  // One reading transaction: runs and boundaries of one moment.
  db_.run("BEGIN");
  std::vector<HistoryRun> all;
  {
    SqliteStatement select(
        db_,
        "SELECT id, report_id, folder, started, started_s, unit_serial, gauge, scenario, source, "
        "tested_by, tool_version, verdict, complete, duration_s, tolerance_rpm, watch, gauge_sha256 FROM "
        "runs "
        "WHERE (?1 = '' OR unit_serial = ?1) AND (?2 = '' OR gauge = ?2) "
        "AND (?3 = '' OR scenario = ?3) AND (?4 = '' OR substr(started, 1, 10) >= ?4) "
        "ORDER BY started_s, id");
    select.bind(filter.unit).bind(filter.gauge).bind(filter.scenario).bind(filter.since);
    while (select.step()) {
      HistoryRun run = history_run(select);
      run.boundaries = boundaries_of(db_, run.id);
      run.accepted = acceptances_of(db_, run.id);
      run.causes = causes_of(db_, run.id);
      all.push_back(std::move(run));
    }
  }
  db_.run("COMMIT");
  return all;
}

bool SqliteStore::accept(const std::string& result_sha256, const Acceptance& acceptance) {
  SqliteStatement insert(
      db_,
      "INSERT INTO accepted SELECT NULL, id, ?2, ?3, ?4 FROM runs WHERE result_sha256 = ?1 RETURNING id");
  insert.bind(result_sha256).bind(acceptance.at).bind(acceptance.who).bind(acceptance.why);
  return insert.step();
}

std::optional<ReferenceRun> SqliteStore::reference(const std::string& unit_or_gauge) const {
  SqliteStatement select(db_,
                         "SELECT folder, result_sha256, at, who, why, accepted.id FROM accepted "
                         "JOIN runs ON runs.id = accepted.run "
                         "WHERE unit_serial = ?1 OR (unit_serial = '' AND gauge = ?1) "
                         "ORDER BY unit_serial = '', accepted.id DESC LIMIT 1");
  if (unit_or_gauge.empty() || !select.bind(unit_or_gauge).step()) return std::nullopt;
  return reference_run(select);
}

}  // namespace tachproof
