// The history as lists that a person pages through: only the columns that a list shows, however many runs
// there are.
//
// Reads only, beside benches that write. Failures are std::runtime_error with a sentence.
#pragma once

#include <cstddef>
#include <memory>
#include <string>
#include <vector>

#include "bench/history/history_place.h"
#include "bench/history/history_run.h"
#include "bench/history/listed_run.h"

namespace tachproof {

class HistoryStore;

class RunList {
 public:
  explicit RunList(const HistoryPlace& place);
  ~RunList();
  RunList(RunList&&) noexcept;

  std::size_t count(const RunListFilter& filter) const;
  std::vector<ListedRun> runs(const RunListFilter& filter, std::size_t most, std::size_t after) const;
  // Of all runs beneath this folder.
  std::vector<std::string> folders(const std::string& beneath) const;
  std::vector<std::string> gauges() const;
  std::vector<std::string> scenarios() const;

  // Who was tested last comes first; runs without a serial number are of no unit.
  using UnitFilter = UnitListFilter;
  std::size_t count(const UnitFilter& filter) const;
  std::vector<ListedUnit> units(const UnitFilter& filter, std::size_t most, std::size_t after) const;

  // Complete runs with what a drift is drawn from, oldest first; of more than `most` the newest. Nothing else
  // of them is read.
  std::vector<HistoryRun> measured(const MeasuredFilter& filter, std::size_t most) const;

 private:
  std::unique_ptr<HistoryStore> store_;
};

}  // namespace tachproof
