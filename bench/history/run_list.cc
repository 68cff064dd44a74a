#include "bench/history/run_list.h"

#include <fmt/format.h>
#include <sqlite3.h>

#include <stdexcept>

#include "bench/record/summary.h"

namespace tachproof {
namespace {

constexpr int history_id = 0x54504831;     // as History writes it
constexpr int wait_for_writer_ms = 2'000;  // a page that says so is better than one that never comes

// As History's own files: a unit in software is known by what watched it.
constexpr const char* run_columns =
    "folder, started, unit_serial, gauge, scenario, verdict, complete, watch, id";

}  // namespace

bool RunListFilter::any() const {
  return !(unit.empty() && gauge.empty() && scenario.empty() && verdict.empty() && since.empty() &&
           find.empty());
}

class RunList::Reader {
 public:
  explicit Reader(const std::filesystem::path& file) : file_(file) {
    // A journal that a power cut left has to be rolled back before anybody can read.
    if (sqlite3_open_v2(file.c_str(), &db_, SQLITE_OPEN_READWRITE, nullptr) != SQLITE_OK) {
      const std::string why = db_ == nullptr ? "out of memory" : sqlite3_errmsg(db_);
      sqlite3_close(db_);
      throw std::runtime_error(fmt::format("cannot open the history {}: {}", file.string(), why));
    }
    sqlite3_busy_timeout(db_, wait_for_writer_ms);
    try {
      prepare();
    } catch (...) {
      sqlite3_close(db_);
      throw;
    }
  }
  ~Reader() { sqlite3_close(db_); }
  Reader(const Reader&) = delete;
  Reader& operator=(const Reader&) = delete;

  // A statement whose values are bound by number.
  class Rows {
   public:
    Rows(const Reader& reader, const std::string& sql) : reader_(reader) {
      if (sqlite3_prepare_v2(reader.db_, sql.c_str(), -1, &statement_, nullptr) != SQLITE_OK) reader.fail();
    }
    ~Rows() { sqlite3_finalize(statement_); }
    Rows(const Rows&) = delete;
    Rows& operator=(const Rows&) = delete;

    void bind(int place, const std::string& text) {
      if (sqlite3_bind_text64(statement_, place, text.data(), text.size(), SQLITE_TRANSIENT, SQLITE_UTF8) !=
          SQLITE_OK)
        reader_.fail();
    }
    void bind(int place, std::size_t number) {
      if (sqlite3_bind_int64(statement_, place, static_cast<sqlite3_int64>(number)) != SQLITE_OK)
        reader_.fail();
    }
    bool next() {
      const int status = sqlite3_step(statement_);
      if (status != SQLITE_ROW && status != SQLITE_DONE) reader_.fail();
      return status == SQLITE_ROW;
    }
    std::string text(int column) const {
      const unsigned char* const value = sqlite3_column_text(statement_, column);
      const auto size = static_cast<std::size_t>(sqlite3_column_bytes(statement_, column));
      return value == nullptr ? std::string() : std::string(reinterpret_cast<const char*>(value), size);
    }
    std::int64_t whole(int column) const { return sqlite3_column_int64(statement_, column); }
    double real(int column) const {
      return sqlite3_column_type(statement_, column) == SQLITE_NULL
                 ? not_measured
                 : sqlite3_column_double(statement_, column);
    }

   private:
    const Reader& reader_;
    sqlite3_stmt* statement_ = nullptr;
  };

  [[noreturn]] void fail() const {
    throw std::runtime_error(fmt::format("the history {}: {}", file_.string(), sqlite3_errmsg(db_)));
  }

  std::int64_t number(const char* sql) const {
    Rows rows(*this, sql);
    return rows.next() ? rows.whole(0) : 0;
  }

  std::vector<std::string> texts(const char* sql) const {
    Rows rows(*this, sql);
    std::vector<std::string> all;
    while (rows.next()) all.push_back(rows.text(0));
    return all;
  }

  // The columns of `run_columns`.
  ListedRun run(const Rows& rows) const {
    ListedRun run;
    run.folder = rows.text(0);
    run.started = rows.text(1);
    run.unit = rows.text(2);
    run.gauge = rows.text(3);
    run.scenario = rows.text(4);
    const std::string verdict = rows.text(5);
    run.verdict = verdict == word(Verdict::fail)                         ? Verdict::fail
                  : verdict == word(Verdict::pass) && rows.whole(6) != 0 ? Verdict::pass
                                                                         : Verdict::undecided;
    run.simulated = is_simulated_unit(rows.text(7));
    if (has_causes_) add_causes(run, rows.whole(8));
    return run;
  }

  // "watch IN ('simulated')"; as it was when the file was opened.
  const std::string& simulated() const { return simulated_; }

 private:
  void prepare() {
    if (sqlite3_exec(db_, "PRAGMA query_only = ON; PRAGMA trusted_schema = OFF", nullptr, nullptr, nullptr) !=
        SQLITE_OK)
      fail();
    if (number("PRAGMA application_id") != history_id)
      throw std::runtime_error(
          fmt::format("{} is not a history of Tachproof: name another file with --history", file_.string()));
    std::string list;
    for (const std::string& watch : texts("SELECT DISTINCT watch FROM runs"))
      if (is_simulated_unit(watch)) list += (list.empty() ? "" : ", ") + quoted(watch);
    simulated_ = list.empty() ? "0" : "watch IN (" + list + ")";
    // A file of an older program has none.
    has_causes_ = number("SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = 'causes'") > 0;
  }

  void add_causes(ListedRun& run, std::int64_t id) const {
    Rows rows(*this,
              "SELECT text, (SELECT count(*) FROM causes WHERE run = ?1) FROM causes WHERE run = ?1 "
              "ORDER BY place LIMIT 1");
    rows.bind(1, static_cast<std::size_t>(id));
    if (!rows.next()) return;
    run.cause = rows.text(0);
    run.more_causes = static_cast<std::size_t>(rows.whole(1)) - 1;
  }

  static std::string quoted(const std::string& text) {
    std::string out = "'";
    for (const char c : text) out += c == '\'' ? std::string("''") : std::string(1, c);
    return out + "'";
  }

  std::filesystem::path file_;
  sqlite3* db_ = nullptr;
  bool has_causes_ = false;
  std::string simulated_;
};

namespace {

// ?1 to ?8. Everything between "folder/" and "folder0", the character after the slash, is beneath it.
constexpr const char* run_filter =
    "(?1 = '' OR unit_serial = ?1) AND (?2 = '' OR gauge = ?2) AND (?3 = '' OR scenario = ?3) "
    "AND (?4 = '' OR CASE WHEN complete OR verdict = 'fail' THEN verdict ELSE 'undecided' END = ?4) "
    "AND (?5 = '' OR substr(started, 1, 10) >= ?5) "
    "AND (?7 = '' OR (folder > ?7 || '/' AND folder < ?7 || '0')) "
    "AND (?6 = '' OR instr(lower(unit_serial), lower(?6)) OR instr(lower(gauge), lower(?6)) OR "
    "instr(lower(scenario), lower(?6)) OR instr(lower(substr(folder, length(?7) + 1)), lower(?6)))";

template <class Rows>
void bind_filter(Rows& rows, const RunListFilter& filter) {
  int place = 0;
  for (const std::string* text : {&filter.unit, &filter.gauge, &filter.scenario, &filter.verdict,
                                  &filter.since, &filter.find, &filter.beneath})
    rows.bind(++place, *text);
}

std::string unit_filter(const std::string& simulated) {
  return " FROM runs WHERE unit_serial != '' AND (?1 = '' OR gauge = ?1) AND (?2 = '' OR "
         "instr(lower(unit_serial), lower(?2))) AND (" +
         simulated + ") = ?3";
}

template <class Rows>
void bind_unit_filter(Rows& rows, const RunList::UnitFilter& filter) {
  rows.bind(1, filter.gauge);
  rows.bind(2, filter.find);
  rows.bind(3, std::size_t{filter.simulated});
}

}  // namespace

RunList::RunList(const std::filesystem::path& file) : reader_(std::make_unique<Reader>(file)) {}
RunList::~RunList() = default;
RunList::RunList(RunList&&) noexcept = default;

std::size_t RunList::count(const RunListFilter& filter) const {
  Reader::Rows rows(*reader_, std::string("SELECT count(*) FROM runs WHERE ") + run_filter);
  bind_filter(rows, filter);
  return rows.next() ? static_cast<std::size_t>(rows.whole(0)) : 0;
}

std::vector<ListedRun> RunList::runs(const RunListFilter& filter, std::size_t most, std::size_t after) const {
  Reader::Rows rows(*reader_, std::string("SELECT ") + run_columns + " FROM runs WHERE " + run_filter +
                                  " ORDER BY started_s DESC, id DESC LIMIT ?8 OFFSET ?9");
  bind_filter(rows, filter);
  rows.bind(8, most);
  rows.bind(9, after);
  std::vector<ListedRun> all;
  while (rows.next()) all.push_back(reader_->run(rows));
  return all;
}

std::vector<std::string> RunList::folders(const std::string& beneath) const {
  Reader::Rows rows(*reader_, "SELECT folder FROM runs WHERE folder > ?1 || '/' AND folder < ?1 || '0'");
  rows.bind(1, beneath);
  std::vector<std::string> all;
  while (rows.next()) all.push_back(rows.text(0));
  return all;
}

std::vector<std::string> RunList::gauges() const {
  return reader_->texts("SELECT DISTINCT gauge FROM runs ORDER BY gauge");
}
std::vector<std::string> RunList::scenarios() const {
  return reader_->texts("SELECT DISTINCT scenario FROM runs ORDER BY scenario");
}

std::size_t RunList::count(const UnitFilter& filter) const {
  Reader::Rows rows(*reader_, "SELECT count(DISTINCT unit_serial)" + unit_filter(reader_->simulated()));
  bind_unit_filter(rows, filter);
  return rows.next() ? static_cast<std::size_t>(rows.whole(0)) : 0;
}

std::vector<ListedUnit> RunList::units(const UnitFilter& filter, std::size_t most, std::size_t after) const {
  // SQLite gives the other columns of the row that has the max(); https://sqlite.org/lang_select.html#bareagg
  Reader::Rows rows(*reader_, std::string("SELECT ") + run_columns +
                                  ", count(*), max(started_s * 1048576 + (id & 1048575)) AS newest" +
                                  unit_filter(reader_->simulated()) +
                                  " GROUP BY unit_serial ORDER BY newest DESC LIMIT ?4 OFFSET ?5");
  bind_unit_filter(rows, filter);
  rows.bind(4, most);
  rows.bind(5, after);
  std::vector<ListedUnit> all;
  while (rows.next()) {
    ListedUnit unit;
    unit.last = reader_->run(rows);
    unit.unit = unit.last.unit;
    unit.simulated = unit.last.simulated;
    unit.last_day = unit.last.started.substr(0, 10);
    unit.runs = static_cast<std::size_t>(rows.whole(9));
    all.push_back(std::move(unit));
  }
  return all;
}

std::vector<HistoryRun> RunList::measured(const MeasuredFilter& filter, std::size_t most) const {
  // One unit's runs by their index: a list asks for many units.
  const std::string of_unit = filter.unit.empty() ? "?1 = ''" : "unit_serial = ?1";
  Reader::Rows rows(
      *reader_,
      "SELECT r.id, r.started_s, r.unit_serial, r.gauge, r.gauge_sha256, r.tolerance_rpm, b.boundary, "
      "b.direction, b.nominal_rpm, b.threshold_rpm, b.expanded_uncertainty_rpm FROM (SELECT * FROM runs "
      "WHERE " +
          of_unit +
          " AND complete AND unit_serial != '' AND (?2 = '' OR gauge = ?2) AND (?3 = '' OR substr(started, "
          "1, "
          "10) >= ?3) AND (" +
          reader_->simulated() +
          ") = ?4 ORDER BY started_s DESC, id DESC LIMIT ?5) r JOIN boundaries b ON b.run = r.id "
          "ORDER BY r.started_s, r.id, b.place");
  rows.bind(1, filter.unit);
  rows.bind(2, filter.gauge);
  rows.bind(3, filter.since);
  rows.bind(4, std::size_t{filter.simulated});
  rows.bind(5, most);
  std::vector<HistoryRun> all;
  while (rows.next()) {
    if (all.empty() || all.back().id != rows.whole(0)) {
      HistoryRun& run = all.emplace_back();
      run.id = rows.whole(0);
      run.started_s = rows.whole(1);
      run.unit_serial = rows.text(2);
      run.gauge = rows.text(3);
      run.gauge_sha256 = rows.text(4);
      run.tolerance_rpm = rows.real(5);
      run.simulated = filter.simulated;
      run.complete = true;
    }
    HistoryBoundary b;
    b.boundary = rows.text(6);
    b.direction = rows.text(7) == word(Direction::falling) ? Direction::falling : Direction::rising;
    b.nominal_rpm = rows.real(8);
    b.threshold_rpm = rows.real(9);
    b.expanded_uncertainty_rpm = rows.real(10);
    all.back().boundaries.push_back(std::move(b));
  }
  return all;
}

}  // namespace tachproof
