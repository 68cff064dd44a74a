// The history in one SQLite file.
//
// A rollback journal rather than a write-ahead log: at rest the history is one file that can be copied, and
// it works wherever file locks do.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "bench/history/history_store.h"
#include "bench/history/sqlite.h"

namespace tachproof {

class SqliteStore : public HistoryStore {
 public:
  SqliteStore(const HistoryPlace& place, Open how);

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
  ListedRun with_causes(const SqliteStatement& rows) const;
  // As it was when it was asked for first: it takes a look at every run.
  const std::string& simulated() const;

  SqliteFile db_;
  bool has_causes_ = true;
  mutable std::optional<std::string> simulated_;
};

}  // namespace tachproof
