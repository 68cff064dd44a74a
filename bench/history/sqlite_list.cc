#include "bench/history/history_rows.h"
#include "bench/history/sqlite_store.h"

namespace tachproof {
namespace {

constexpr const char* run_columns =
    "folder, started, unit_serial, gauge, scenario, verdict, complete, watch, id";

// ?1 to ?7. Everything between "folder/" and "folder0", the character after the slash, is beneath it.
constexpr const char* run_filter =
    "(?1 = '' OR unit_serial = ?1) AND (?2 = '' OR gauge = ?2) AND (?3 = '' OR scenario = ?3) "
    "AND (?4 = '' OR CASE WHEN complete OR verdict = 'fail' THEN verdict ELSE 'undecided' END = ?4) "
    "AND (?5 = '' OR substr(started, 1, 10) >= ?5) "
    "AND (?7 = '' OR (folder > ?7 || '/' AND folder < ?7 || '0')) "
    "AND (?6 = '' OR instr(lower(unit_serial), lower(?6)) OR instr(lower(gauge), lower(?6)) OR "
    "instr(lower(scenario), lower(?6)) OR instr(lower(substr(folder, length(?7) + 1)), lower(?6)))";

std::string unit_filter(const std::string& simulated) {
  return " FROM runs WHERE unit_serial != '' AND (?1 = '' OR gauge = ?1) AND (?2 = '' OR "
         "instr(lower(unit_serial), lower(?2))) AND (" +
         simulated + ") = ?3";
}

}  // namespace

ListedRun SqliteStore::with_causes(const SqliteStatement& rows) const {
  ListedRun run = listed_run(rows);
  if (!has_causes_) return run;
  SqliteStatement causes(
      db_,
      "SELECT text, (SELECT count(*) FROM causes WHERE run = ?1) FROM causes WHERE run = ?1 "
      "ORDER BY place LIMIT 1");
  causes.bind(rows.whole(8));
  if (!causes.step()) return run;
  run.cause = causes.text(0);
  run.more_causes = static_cast<std::size_t>(causes.whole(1)) - 1;
  return run;
}

const std::string& SqliteStore::simulated() const {
  if (!simulated_) simulated_ = simulated_sql(db_.texts("SELECT DISTINCT watch FROM runs"));
  return *simulated_;
}

std::size_t SqliteStore::count(const RunListFilter& filter) const {
  SqliteStatement rows(db_, std::string("SELECT count(*) FROM runs WHERE ") + run_filter);
  bind_filter(rows, filter);
  return counted(rows);
}

std::vector<ListedRun> SqliteStore::listed(const RunListFilter& filter, std::size_t most,
                                           std::size_t after) const {
  SqliteStatement rows(db_, std::string("SELECT ") + run_columns + " FROM runs WHERE " + run_filter +
                                " ORDER BY started_s DESC, id DESC LIMIT ?8 OFFSET ?9");
  bind_filter(rows, filter);
  rows.bind(most).bind(after);
  return all_of(rows, [&](const SqliteStatement& row) { return with_causes(row); });
}

std::vector<std::string> SqliteStore::folders(const std::string& beneath) const {
  SqliteStatement rows(db_, "SELECT folder FROM runs WHERE folder > ?1 || '/' AND folder < ?1 || '0'");
  rows.bind(beneath);
  return all_of(rows, [](const SqliteStatement& row) { return row.text(0); });
}

std::vector<std::string> SqliteStore::gauges() const {
  return db_.texts("SELECT DISTINCT gauge FROM runs ORDER BY gauge");
}
std::vector<std::string> SqliteStore::scenarios() const {
  return db_.texts("SELECT DISTINCT scenario FROM runs ORDER BY scenario");
}

std::size_t SqliteStore::count(const UnitListFilter& filter) const {
  SqliteStatement rows(db_, "SELECT count(DISTINCT unit_serial)" + unit_filter(simulated()));
  bind_filter(rows, filter);
  return counted(rows);
}

std::vector<ListedUnit> SqliteStore::units(const UnitListFilter& filter, std::size_t most,
                                           std::size_t after) const {
  // SQLite gives the other columns of the row that has the max(); https://sqlite.org/lang_select.html#bareagg
  SqliteStatement rows(db_, std::string("SELECT ") + run_columns +
                                ", count(*), max(started_s * 1048576 + (id & 1048575)) AS newest" +
                                unit_filter(simulated()) +
                                " GROUP BY unit_serial ORDER BY newest DESC LIMIT ?4 OFFSET ?5");
  bind_filter(rows, filter);
  rows.bind(most).bind(after);
  return all_of(rows,
                [&](const SqliteStatement& row) { return listed_unit(with_causes(row), row.whole(9)); });
}

std::vector<HistoryRun> SqliteStore::measured(const MeasuredFilter& filter, std::size_t most) const {
  // One unit's runs by their index: a list asks for many units.
  const std::string of_unit = filter.unit.empty() ? "?1 = ''" : "unit_serial = ?1";
  SqliteStatement rows(
      db_,
      "SELECT r.id, r.started_s, r.unit_serial, r.gauge, r.gauge_sha256, r.tolerance_rpm, b.boundary, "
      "b.direction, b.nominal_rpm, b.threshold_rpm, b.expanded_uncertainty_rpm, b.response_ms, b.verdict "
      "FROM (SELECT * FROM runs "
      "WHERE " +
          of_unit +
          " AND complete AND unit_serial != '' AND (?2 = '' OR gauge = ?2) AND (?3 = '' OR substr(started, "
          "1, "
          "10) >= ?3) AND (" +
          simulated() +
          ") = ?4 ORDER BY started_s DESC, id DESC LIMIT ?5) r JOIN boundaries b ON b.run = r.id "
          "ORDER BY r.started_s, r.id, b.place");
  bind_filter(rows, filter);
  rows.bind(most);
  return measured_runs(rows, filter.simulated);
}

}  // namespace tachproof
