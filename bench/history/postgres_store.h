// The history in a PostgreSQL database.
//
// Rows are added and never changed, so that a user who may add and read needs no more: QUERIES.md has
// the roles.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "bench/history/history_store.h"
#include "bench/history/postgres.h"

namespace tachproof {

class PostgresStore : public HistoryStore {
 public:
  PostgresStore(const HistoryPlace& place, Open how);

  bool add(const CountedRun& run) override;
  bool accept(const std::string& result_sha256, const Acceptance& acceptance) override;
  std::vector<HistoryRun> runs(const HistoryFilter& filter) const override;
  std::optional<ReferenceRun> reference(const std::string& unit_or_gauge) const override;

  std::size_t count(const RunListFilter& filter) const override;
  std::vector<ListedRun> listed(const RunListFilter& filter, std::size_t most,
                                std::size_t after) const override;
  std::vector<std::string> folders(const std::string& beneath) const override;
  std::vector<std::string> gauges() const override;
  std::vector<std::string> scenarios() const override;
  std::size_t count(const UnitListFilter& filter) const override;
  std::vector<ListedUnit> units(const UnitListFilter& filter, std::size_t most,
                                std::size_t after) const override;
  std::vector<HistoryRun> measured(const MeasuredFilter& filter, std::size_t most) const override;

 private:
  void insert_rows(std::int64_t run, const RunRecord& record);
  const std::string& simulated() const;

  PgConnection db_;
  mutable std::optional<std::string> simulated_;
};

// Runs where they are now: `folder` is the last place that is known.
inline constexpr const char* runs_where_they_are =
    "(SELECT r.id, r.report_id, r.started, r.started_s, r.unit_serial, r.gauge, r.gauge_sha256, r.scenario, "
    "r.source, r.watch, r.tested_by, r.tool_version, r.verdict, r.complete, r.duration_s, r.tolerance_rpm, "
    "r.result_sha256, coalesce((SELECT m.folder FROM tachproof.moved m WHERE m.run = r.id ORDER BY m.id DESC "
    "LIMIT 1), r.folder) AS folder FROM tachproof.runs r) AS runs";

}  // namespace tachproof
