#include "bench/history/history.h"

#include <fmt/format.h>
#include <sqlite3.h>

#include <cmath>
#include <functional>
#include <stdexcept>
#include <system_error>

#include "bench/record/disk.h"
#include "bench/record/result_json.h"
#include "bench/record/run_folder.h"
#include "bench/record/summary.h"
#include "core/base/foreign_text.h"

namespace tachproof {
namespace {

constexpr int schema_version = 2;
constexpr int application_id = 0x54504831;  // "TPH1": tells our files from other SQLite files
constexpr int patience_ms = 15'000;         // while another bench writes

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

class History::Database {
 public:
  Database(const std::filesystem::path& file, Open how) : file_(file) {
    if (how == Open::make && file.has_parent_path()) {
      std::error_code error;
      std::filesystem::create_directories(file.parent_path(), error);
      if (error)
        throw std::runtime_error(
            fmt::format("cannot make {}: {}", file.parent_path().string(), error.message()));
    }
    const int flags = SQLITE_OPEN_READWRITE | (how == Open::make ? SQLITE_OPEN_CREATE : 0);
    if (sqlite3_open_v2(file.c_str(), &db_, flags, nullptr) != SQLITE_OK) {
      const std::string why = db_ == nullptr ? "out of memory" : sqlite3_errmsg(db_);
      sqlite3_close(db_);
      throw std::runtime_error(fmt::format("cannot open the history {}: {}", file.string(), why));
    }
    try {
      prepare_file();
    } catch (...) {
      sqlite3_close(db_);
      throw;
    }
  }
  ~Database() { sqlite3_close(db_); }
  Database(const Database&) = delete;
  Database& operator=(const Database&) = delete;

  void run(const char* sql) {
    if (sqlite3_exec(db_, sql, nullptr, nullptr, nullptr) != SQLITE_OK) fail();
  }

  [[noreturn]] void fail() const {
    throw std::runtime_error(fmt::format("the history {}: {}", file_.string(), sqlite3_errmsg(db_)));
  }

  sqlite3* handle() const { return db_; }

 private:
  int number(const char* pragma) const;

  void prepare_file() {
    sqlite3_busy_timeout(db_, patience_ms);
    run("PRAGMA foreign_keys = ON; PRAGMA synchronous = EXTRA; PRAGMA trusted_schema = OFF");
    if (number("PRAGMA user_version") == 0) make_schema();
    const int id = number("PRAGMA application_id");
    const int version = number("PRAGMA user_version");
    if (id != application_id)
      throw std::runtime_error(
          fmt::format("{} is not a history of Tachproof: name another file with --history", file_.string()));
    if (version == 1)
      renew();
    else if (version != schema_version)
      throw std::runtime_error(fmt::format("the history {} has format {}, and this program knows format {}",
                                           file_.string(), version, schema_version));
  }

  void make_schema() {
    at_once([&] {
      // Another bench may have made it while this one waited.
      if (number("PRAGMA user_version") != 0 || number("SELECT count(*) FROM sqlite_schema") != 0) return;
      run(schema);
      run(schema_2);
      run(fmt::format("PRAGMA application_id = {}; PRAGMA user_version = {}", application_id, schema_version)
              .c_str());
    });
  }

  // From format 1: what is there stays as it is.
  void renew() {
    at_once([&] {
      if (number("PRAGMA user_version") != 1) return;
      run(schema_2);
      run("PRAGMA user_version = 2");
    });
  }

  template <class Work>
  void at_once(Work work) {
    run("BEGIN IMMEDIATE");
    try {
      work();
      run("COMMIT");
    } catch (...) {
      sqlite3_exec(db_, "ROLLBACK", nullptr, nullptr, nullptr);
      throw;
    }
  }

  std::filesystem::path file_;
  sqlite3* db_ = nullptr;
};

namespace {

// One parameterised statement; values are bound in order.
class Statement {
 public:
  template <class Database>
  Statement(const Database& db, const char* sql) : db_(db.handle()), fail_([&db] { db.fail(); }) {
    if (sqlite3_prepare_v2(db_, sql, -1, &statement_, nullptr) != SQLITE_OK) fail_();
  }
  ~Statement() { sqlite3_finalize(statement_); }
  Statement(const Statement&) = delete;
  Statement& operator=(const Statement&) = delete;

  Statement& bind(const std::string& text) {
    return check(
        sqlite3_bind_text64(statement_, ++bound_, text.data(), text.size(), SQLITE_TRANSIENT, SQLITE_UTF8));
  }
  Statement& bind(std::int64_t value) { return check(sqlite3_bind_int64(statement_, ++bound_, value)); }
  Statement& bind(double value) {
    return check(std::isfinite(value) ? sqlite3_bind_double(statement_, ++bound_, value)
                                      : sqlite3_bind_null(statement_, ++bound_));
  }
  // True: there is a row to read.
  bool step() {
    const int status = sqlite3_step(statement_);
    if (status != SQLITE_ROW && status != SQLITE_DONE) fail_();
    return status == SQLITE_ROW;
  }
  void reset() {
    sqlite3_reset(statement_);
    bound_ = 0;
  }

  std::string text(int column) const {
    const unsigned char* const value = sqlite3_column_text(statement_, column);
    return value == nullptr ? std::string()
                            : std::string(reinterpret_cast<const char*>(value),
                                          static_cast<std::size_t>(sqlite3_column_bytes(statement_, column)));
  }
  std::int64_t whole(int column) const { return sqlite3_column_int64(statement_, column); }
  double number(int column) const {
    return sqlite3_column_type(statement_, column) == SQLITE_NULL ? not_measured
                                                                  : sqlite3_column_double(statement_, column);
  }

 private:
  Statement& check(int status) {
    if (status != SQLITE_OK) fail_();
    return *this;
  }
  sqlite3* db_;
  std::function<void()> fail_;
  sqlite3_stmt* statement_ = nullptr;
  int bound_ = 0;
};

// Undone unless it is committed.
template <class Database>
class Transaction {
 public:
  explicit Transaction(Database& db) : db_(db) { db_.run("BEGIN IMMEDIATE"); }
  ~Transaction() {
    if (!committed_) sqlite3_exec(db_.handle(), "ROLLBACK", nullptr, nullptr, nullptr);
  }
  Transaction(const Transaction&) = delete;
  Transaction& operator=(const Transaction&) = delete;
  void commit() {
    db_.run("COMMIT");
    committed_ = true;
  }

 private:
  Database& db_;
  bool committed_ = false;
};

template <class Database>
void insert_boundaries(const Database& db, std::int64_t run, const std::vector<BoundaryResult>& boundaries) {
  Statement insert(db, "INSERT INTO boundaries VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)");
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

template <class Database>
void insert_causes(const Database& db, std::int64_t run, const std::vector<Cause>& causes) {
  // Of a run that is in already those that are there stay: its result has not changed.
  Statement insert(db, "INSERT OR IGNORE INTO causes VALUES (?, ?, ?, ?, ?)");
  std::int64_t place = 0;
  for (const Cause& cause : causes) {
    insert.bind(run).bind(place++).bind(cause.text);
    insert.bind(static_cast<std::int64_t>(cause.explains)).bind(static_cast<std::int64_t>(cause.of));
    insert.step();
    insert.reset();
  }
}

template <class Database>
std::vector<HistoryCause> causes_of(const Database& db, std::int64_t run) {
  Statement select(db, "SELECT text, explains, findings FROM causes WHERE run = ? ORDER BY place");
  select.bind(run);
  std::vector<HistoryCause> all;
  while (select.step())
    all.push_back({select.text(0), static_cast<std::uint64_t>(select.whole(1)),
                   static_cast<std::uint64_t>(select.whole(2))});
  return all;
}

template <class Database>
std::vector<HistoryBoundary> boundaries_of(const Database& db, std::int64_t run) {
  Statement select(db,
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

template <class Database>
std::vector<Acceptance> acceptances_of(const Database& db, std::int64_t run) {
  Statement select(db, "SELECT at, who, why FROM accepted WHERE run = ? ORDER BY id");
  select.bind(run);
  std::vector<Acceptance> all;
  while (select.step()) all.push_back({select.text(0), select.text(1), select.text(2)});
  return all;
}

}  // namespace

int History::Database::number(const char* sql) const {
  Statement statement(*this, sql);
  return statement.step() ? static_cast<int>(statement.whole(0)) : 0;
}

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
  Statement date(*db_, "SELECT strftime('%s', ?)");
  if (!date.bind(record.started).step() || !std::isfinite(date.number(0)))
    throw std::runtime_error(fmt::format("{} does not say when the run began ('{}'), so the run is not added",
                                         (run_folder / "result.json").string(),
                                         shown(record.started.substr(0, 40))));
  date.reset();
  const std::string sha256 = sha256_of_file(run_folder / "result.json");
  const std::string folder = std::filesystem::absolute(run_folder).lexically_normal().string();

  Transaction transaction(*db_);
  Statement known(*db_, "UPDATE runs SET folder = ? WHERE result_sha256 = ? RETURNING id");
  const bool is_new = !known.bind(folder).bind(sha256).step();
  std::int64_t id = is_new ? 0 : known.whole(0);
  known.reset();
  if (is_new) {
    Statement insert(
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
    id = sqlite3_last_insert_rowid(db_->handle());
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
    Statement select(
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
  Statement insert(
      *db_,
      "INSERT INTO accepted SELECT NULL, id, ?2, ?3, ?4 FROM runs WHERE result_sha256 = ?1 RETURNING id");
  insert.bind(sha256_of_file(run_folder / "result.json"));
  insert.bind(acceptance.at).bind(acceptance.who).bind(acceptance.why);
  if (!insert.step())
    throw std::runtime_error(fmt::format("{} changed while it was accepted", run_folder.string()));
}

std::optional<ReferenceRun> History::reference(const std::string& unit_or_gauge) const {
  Statement select(
      *db_,
      "SELECT folder, result_sha256, at, who, why FROM accepted JOIN runs ON runs.id = accepted.run "
      "WHERE unit_serial = ?1 OR (unit_serial = '' AND gauge = ?1) "
      "ORDER BY unit_serial = '', accepted.id DESC LIMIT 1");
  if (unit_or_gauge.empty() || !select.bind(unit_or_gauge).step()) return std::nullopt;
  return ReferenceRun{select.text(0), select.text(1), {select.text(2), select.text(3), select.text(4)}};
}

}  // namespace tachproof
