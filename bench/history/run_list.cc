#include "bench/history/run_list.h"

#include "bench/history/sqlite.h"
#include "bench/record/summary.h"

namespace tachproof {
namespace {

constexpr int wait_for_writer_ms = 2'000;  // a page that says so is better than one that never comes

// As History's own files: a unit in software is known by what watched it.
constexpr const char* run_columns =
    "folder, started, unit_serial, gauge, scenario, verdict, complete, watch, id";

}  // namespace

bool RunListFilter::any() const {
  return !(unit.empty() && gauge.empty() && scenario.empty() && verdict.empty() && since.empty() &&
           find.empty());
}

class RunList::Reader : public SqliteFile {
 public:
  explicit Reader(const std::filesystem::path& file) : SqliteFile(file, Open::existing, wait_for_writer_ms) {
    // Room for all runs of many years: what is counted is listed next, and read once.
    run("PRAGMA query_only = ON; PRAGMA trusted_schema = OFF; PRAGMA cache_size = -32768");
    must_be_history();
    // A file of an older program has none.
    has_causes_ = number("SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = 'causes'") > 0;
  }

  // The columns of `run_columns`.
  ListedRun listed(const SqliteStatement& rows) const {
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

  // "watch IN ('simulated')"; as it was when it was asked for first. It takes a look at every run.
  const std::string& simulated() const {
    if (!simulated_) {
      std::string list;
      for (const std::string& watch : texts("SELECT DISTINCT watch FROM runs"))
        if (is_simulated_unit(watch)) list += (list.empty() ? "" : ", ") + quoted(watch);
      simulated_ = list.empty() ? "0" : "watch IN (" + list + ")";
    }
    return *simulated_;
  }

 private:
  void add_causes(ListedRun& run, std::int64_t id) const {
    SqliteStatement rows(
        *this,
        "SELECT text, (SELECT count(*) FROM causes WHERE run = ?1) FROM causes WHERE run = ?1 "
        "ORDER BY place LIMIT 1");
    rows.bind(id);
    if (!rows.step()) return;
    run.cause = rows.text(0);
    run.more_causes = static_cast<std::size_t>(rows.whole(1)) - 1;
  }

  static std::string quoted(const std::string& text) {
    std::string out = "'";
    for (const char c : text) out += c == '\'' ? std::string("''") : std::string(1, c);
    return out + "'";
  }

  bool has_causes_ = false;
  mutable std::optional<std::string> simulated_;
};

namespace {

// ?1 to ?7. Everything between "folder/" and "folder0", the character after the slash, is beneath it.
constexpr const char* run_filter =
    "(?1 = '' OR unit_serial = ?1) AND (?2 = '' OR gauge = ?2) AND (?3 = '' OR scenario = ?3) "
    "AND (?4 = '' OR CASE WHEN complete OR verdict = 'fail' THEN verdict ELSE 'undecided' END = ?4) "
    "AND (?5 = '' OR substr(started, 1, 10) >= ?5) "
    "AND (?7 = '' OR (folder > ?7 || '/' AND folder < ?7 || '0')) "
    "AND (?6 = '' OR instr(lower(unit_serial), lower(?6)) OR instr(lower(gauge), lower(?6)) OR "
    "instr(lower(scenario), lower(?6)) OR instr(lower(substr(folder, length(?7) + 1)), lower(?6)))";

void bind_filter(SqliteStatement& rows, const RunListFilter& filter) {
  for (const std::string* text : {&filter.unit, &filter.gauge, &filter.scenario, &filter.verdict,
                                  &filter.since, &filter.find, &filter.beneath})
    rows.bind(*text);
}

std::string unit_filter(const std::string& simulated) {
  return " FROM runs WHERE unit_serial != '' AND (?1 = '' OR gauge = ?1) AND (?2 = '' OR "
         "instr(lower(unit_serial), lower(?2))) AND (" +
         simulated + ") = ?3";
}

void bind_unit_filter(SqliteStatement& rows, const RunList::UnitFilter& filter) {
  rows.bind(filter.gauge);
  rows.bind(filter.find);
  rows.bind(filter.simulated);
}

}  // namespace

RunList::RunList(const std::filesystem::path& file) : reader_(std::make_unique<Reader>(file)) {}
RunList::~RunList() = default;
RunList::RunList(RunList&&) noexcept = default;

std::size_t RunList::count(const RunListFilter& filter) const {
  SqliteStatement rows(*reader_, std::string("SELECT count(*) FROM runs WHERE ") + run_filter);
  bind_filter(rows, filter);
  return rows.step() ? static_cast<std::size_t>(rows.whole(0)) : 0;
}

std::vector<ListedRun> RunList::runs(const RunListFilter& filter, std::size_t most, std::size_t after) const {
  SqliteStatement rows(*reader_, std::string("SELECT ") + run_columns + " FROM runs WHERE " + run_filter +
                                     " ORDER BY started_s DESC, id DESC LIMIT ?8 OFFSET ?9");
  bind_filter(rows, filter);
  rows.bind(most);
  rows.bind(after);
  std::vector<ListedRun> all;
  while (rows.step()) all.push_back(reader_->listed(rows));
  return all;
}

std::vector<std::string> RunList::folders(const std::string& beneath) const {
  SqliteStatement rows(*reader_, "SELECT folder FROM runs WHERE folder > ?1 || '/' AND folder < ?1 || '0'");
  rows.bind(beneath);
  std::vector<std::string> all;
  while (rows.step()) all.push_back(rows.text(0));
  return all;
}

std::vector<std::string> RunList::gauges() const {
  return reader_->texts("SELECT DISTINCT gauge FROM runs ORDER BY gauge");
}
std::vector<std::string> RunList::scenarios() const {
  return reader_->texts("SELECT DISTINCT scenario FROM runs ORDER BY scenario");
}

std::size_t RunList::count(const UnitFilter& filter) const {
  SqliteStatement rows(*reader_, "SELECT count(DISTINCT unit_serial)" + unit_filter(reader_->simulated()));
  bind_unit_filter(rows, filter);
  return rows.step() ? static_cast<std::size_t>(rows.whole(0)) : 0;
}

std::vector<ListedUnit> RunList::units(const UnitFilter& filter, std::size_t most, std::size_t after) const {
  // SQLite gives the other columns of the row that has the max(); https://sqlite.org/lang_select.html#bareagg
  SqliteStatement rows(*reader_, std::string("SELECT ") + run_columns +
                                     ", count(*), max(started_s * 1048576 + (id & 1048575)) AS newest" +
                                     unit_filter(reader_->simulated()) +
                                     " GROUP BY unit_serial ORDER BY newest DESC LIMIT ?4 OFFSET ?5");
  bind_unit_filter(rows, filter);
  rows.bind(most);
  rows.bind(after);
  std::vector<ListedUnit> all;
  while (rows.step()) {
    ListedUnit unit;
    unit.last = reader_->listed(rows);
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
  SqliteStatement rows(
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
  rows.bind(filter.unit);
  rows.bind(filter.gauge);
  rows.bind(filter.since);
  rows.bind(filter.simulated);
  rows.bind(most);
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
      run.simulated = filter.simulated;
      run.complete = true;
    }
    HistoryBoundary b;
    b.boundary = rows.text(6);
    b.direction = rows.text(7) == word(Direction::falling) ? Direction::falling : Direction::rising;
    b.nominal_rpm = rows.number(8);
    b.threshold_rpm = rows.number(9);
    b.expanded_uncertainty_rpm = rows.number(10);
    all.back().boundaries.push_back(std::move(b));
  }
  return all;
}

}  // namespace tachproof
