#include "bench/history/history.h"

#include <fmt/format.h>

#include <cmath>
#include <stdexcept>
#include <system_error>

#include "bench/history/sqlite.h"
#include "bench/record/disk.h"
#include "bench/record/result_json.h"
#include "bench/record/run_folder.h"
#include "bench/record/summary.h"
#include "core/base/foreign_text.h"

namespace tachproof {
namespace {

constexpr int schema_version = 2;
constexpr int patience_ms = 15'000;  // while another bench writes

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

Verdict verdict_from(const std::string& text) {
  return text == "pass" ? Verdict::pass : text == "fail" ? Verdict::fail : Verdict::undecided;
}

}  // namespace

class History::Database : public SqliteFile {
 public:
  Database(const std::filesystem::path& file, History::Open how)
      : SqliteFile(made_ready(file, how), how == History::Open::make ? Open::make : Open::existing,
                   patience_ms) {
    run("PRAGMA foreign_keys = ON; PRAGMA synchronous = EXTRA; PRAGMA trusted_schema = OFF");
    if (version() == 0) make_schema();
    must_be_history();
    if (version() == 1)
      renew();
    else if (version() != schema_version)
      throw std::runtime_error(fmt::format("the history {} has format {}, and this program knows format {}",
                                           file.string(), version(), schema_version));
  }

 private:
  static const std::filesystem::path& made_ready(const std::filesystem::path& file, History::Open how) {
    if (how == History::Open::make && file.has_parent_path()) {
      std::error_code error;
      std::filesystem::create_directories(file.parent_path(), error);
      if (error)
        throw std::runtime_error(
            fmt::format("cannot make {}: {}", file.parent_path().string(), error.message()));
    }
    return file;
  }

  std::int64_t version() const { return number("PRAGMA user_version"); }

  void make_schema() const {
    SqliteTransaction transaction(*this);
    // Another bench may have made it while this one waited.
    if (version() != 0 || number("SELECT count(*) FROM sqlite_schema") != 0) return;
    run(schema);
    run(schema_2);
    mark_as_history();
    run(fmt::format("PRAGMA user_version = {}", schema_version));
    transaction.commit();
  }

  // From format 1: what is there stays as it is.
  void renew() const {
    SqliteTransaction transaction(*this);
    if (version() != 1) return;
    run(schema_2);
    run("PRAGMA user_version = 2");
    transaction.commit();
  }
};

namespace {

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
  while (select.step())
    all.push_back({select.text(0), static_cast<std::uint64_t>(select.whole(1)),
                   static_cast<std::uint64_t>(select.whole(2))});
  return all;
}

std::vector<HistoryBoundary> boundaries_of(const SqliteFile& db, std::int64_t run) {
  SqliteStatement select(db,
                         "SELECT boundary, direction, nominal_rpm, threshold_rpm, expanded_uncertainty_rpm, "
                         "response_ms, verdict FROM boundaries WHERE run = ? ORDER BY place");
  select.bind(run);
  std::vector<HistoryBoundary> all;
  while (select.step())
    all.push_back({select.text(0), select.text(1) == "falling" ? Direction::falling : Direction::rising,
                   select.number(2), select.number(3), select.number(4), select.number(5),
                   verdict_from(select.text(6))});
  return all;
}

std::vector<Acceptance> acceptances_of(const SqliteFile& db, std::int64_t run) {
  SqliteStatement select(db, "SELECT at, who, why FROM accepted WHERE run = ? ORDER BY id");
  select.bind(run);
  std::vector<Acceptance> all;
  while (select.step()) all.push_back({select.text(0), select.text(1), select.text(2)});
  return all;
}

}  // namespace

History::History(const std::filesystem::path& file, Open how) {
  std::error_code error;
  if (how == Open::existing && !std::filesystem::exists(file, error))
    throw std::runtime_error(fmt::format("there is no history at {} yet", file.string()));
  db_ = std::make_unique<Database>(file, how);
}
History::~History() = default;
History::History(History&&) noexcept = default;

namespace {

// A folder that was cut short has the result that it began with; one whose result cannot be read
// has none that a history could count.
RunRecord countable(const std::filesystem::path& run_folder) {
  RunRecord record = load_run(run_folder).record;
  const std::filesystem::path result = run_folder / "result.json";
  try {
    record_from_json(whole_file(result));
  } catch (const std::runtime_error& e) {
    throw std::runtime_error(
        fmt::format("{} does not count, so the run is not added: {}", result.string(), e.what()));
  }
  return record;
}

}  // namespace

bool History::add(const std::filesystem::path& run_folder) {
  const RunRecord record = countable(run_folder);
  SqliteStatement date(*db_, "SELECT strftime('%s', ?)");
  if (!date.bind(record.started).step() || !std::isfinite(date.number(0)))
    throw std::runtime_error(fmt::format("{} does not say when the run began ('{}'), so the run is not added",
                                         (run_folder / "result.json").string(),
                                         shown(record.started.substr(0, 40))));
  date.reset();
  const std::string sha256 = sha256_of_file(run_folder / "result.json");
  const std::string folder = std::filesystem::absolute(run_folder).lexically_normal().string();

  SqliteTransaction transaction(*db_);
  SqliteStatement known(*db_, "UPDATE runs SET folder = ? WHERE result_sha256 = ? RETURNING id");
  const bool is_new = !known.bind(folder).bind(sha256).step();
  std::int64_t id = is_new ? 0 : known.whole(0);
  known.reset();
  if (is_new) {
    SqliteStatement insert(
        *db_,
        "INSERT INTO runs VALUES (NULL, ?, ?, ?, ?, coalesce(CAST(strftime('%s', ?) AS INTEGER), "
        "0), ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)");
    insert.bind(sha256).bind(record.report_id).bind(folder).bind(record.started).bind(record.started);
    insert.bind(record.unit_serial).bind(record.gauge_name).bind(record.gauge_sha256);
    insert.bind(record.scenario_name).bind(record.scenario_sha256).bind(record.source).bind(record.watch);
    insert.bind(record.certificate ? record.certificate->tested_by : "").bind(record.tool_version);
    insert.bind(std::string(word(record.result.verdict))).bind(std::int64_t{record.result.complete});
    insert.bind(to_seconds(record.result.duration));
    insert.bind(record.gauge.tolerance.rpm + record.extra_tolerance_rpm);
    insert.step();
    id = db_->number("SELECT last_insert_rowid()");
    insert_boundaries(*db_, id, record.result.boundaries);
  }
  insert_causes(*db_, id, record.causes.list);
  transaction.commit();
  return is_new;
}

std::vector<HistoryRun> History::runs(const HistoryFilter& filter) const {
  // One reading transaction: runs and boundaries of one moment.
  db_->run("BEGIN");
  std::vector<HistoryRun> all;
  {
    SqliteStatement select(
        *db_,
        "SELECT id, report_id, folder, started, started_s, unit_serial, gauge, scenario, source, "
        "tested_by, tool_version, verdict, complete, duration_s, tolerance_rpm, watch, gauge_sha256 FROM "
        "runs "
        "WHERE (?1 = '' OR unit_serial = ?1) AND (?2 = '' OR gauge = ?2) "
        "AND (?3 = '' OR scenario = ?3) AND (?4 = '' OR substr(started, 1, 10) >= ?4) "
        "ORDER BY started_s, id");
    select.bind(filter.unit).bind(filter.gauge).bind(filter.scenario).bind(filter.since);
    while (select.step()) {
      HistoryRun run;
      run.id = select.whole(0);
      run.report_id = select.text(1);
      run.folder = select.text(2);
      run.started = select.text(3);
      run.started_s = select.whole(4);
      run.unit_serial = select.text(5);
      run.gauge = select.text(6);
      run.scenario = select.text(7);
      run.source = select.text(8);
      run.tested_by = select.text(9);
      run.tool_version = select.text(10);
      run.verdict = verdict_from(select.text(11));
      run.complete = select.whole(12) != 0;
      run.duration_s = select.number(13);
      run.tolerance_rpm = select.number(14);
      run.simulated = is_simulated_unit(select.text(15));
      run.gauge_sha256 = select.text(16);
      run.boundaries = boundaries_of(*db_, run.id);
      run.accepted = acceptances_of(*db_, run.id);
      run.causes = causes_of(*db_, run.id);
      all.push_back(std::move(run));
    }
  }
  db_->run("COMMIT");
  return all;
}

void History::accept(const std::filesystem::path& run_folder, const Acceptance& acceptance) {
  add(run_folder);
  SqliteStatement insert(
      *db_,
      "INSERT INTO accepted SELECT NULL, id, ?2, ?3, ?4 FROM runs WHERE result_sha256 = ?1 RETURNING id");
  insert.bind(sha256_of_file(run_folder / "result.json"));
  insert.bind(acceptance.at).bind(acceptance.who).bind(acceptance.why);
  if (!insert.step())
    throw std::runtime_error(fmt::format("{} changed while it was accepted", run_folder.string()));
}

std::optional<ReferenceRun> History::reference(const std::string& unit_or_gauge) const {
  SqliteStatement select(
      *db_,
      "SELECT folder, result_sha256, at, who, why FROM accepted JOIN runs ON runs.id = accepted.run "
      "WHERE unit_serial = ?1 OR (unit_serial = '' AND gauge = ?1) "
      "ORDER BY unit_serial = '', accepted.id DESC LIMIT 1");
  if (unit_or_gauge.empty() || !select.bind(unit_or_gauge).step()) return std::nullopt;
  return ReferenceRun{select.text(0), select.text(1), {select.text(2), select.text(3), select.text(4)}};
}

}  // namespace tachproof
