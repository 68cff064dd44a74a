// What keeps a history. One implementation for each kind of place; nobody else asks which it is.
//
// Failures are std::runtime_error with a sentence that names the place, and no password.
#pragma once

#include <cstddef>
#include <memory>
#include <optional>
#include <stdexcept>
#include <string>
#include <vector>

#include "bench/history/counted_run.h"
#include "bench/history/history_place.h"
#include "bench/history/history_run.h"
#include "bench/history/listed_run.h"

namespace tachproof {

// The place could not be reached, or was lost: what was asked of it may be asked again later.
struct HistoryAway : std::runtime_error {
  using std::runtime_error::runtime_error;
};

class HistoryStore {
 public:
  // `make`: where there is none yet, it is made. One of an older program is renewed, unless it is only
  // opened to be listed. `list`: reads only, and waits less long for whoever writes.
  enum class Open { make, existing, list };
  static std::unique_ptr<HistoryStore> open(const HistoryPlace& place, Open how);
  virtual ~HistoryStore() = default;

  // All of a run or nothing; it is kept for good when this returns. Of a run that is in, by the SHA-256 of
  // its result, only the folder and causes that are missing are taken. False: it was in.
  virtual bool add(const CountedRun& run) = 0;
  // False: there is no such run.
  virtual bool accept(const std::string& result_sha256, const Acceptance& acceptance) = 0;
  virtual std::vector<HistoryRun> runs(const HistoryFilter& filter) const = 0;  // of one moment, oldest first
  virtual std::optional<ReferenceRun> reference(const std::string& unit_or_gauge) const = 0;

  // As RunList has them.
  virtual std::size_t count(const RunListFilter& filter) const = 0;
  virtual std::vector<ListedRun> listed(const RunListFilter& filter, std::size_t most,
                                        std::size_t after) const = 0;
  virtual std::vector<std::string> folders(const std::string& beneath) const = 0;
  virtual std::vector<std::string> gauges() const = 0;
  virtual std::vector<std::string> scenarios() const = 0;
  virtual std::size_t count(const UnitListFilter& filter) const = 0;
  virtual std::vector<ListedUnit> units(const UnitListFilter& filter, std::size_t most,
                                        std::size_t after) const = 0;
  virtual std::vector<HistoryRun> measured(const MeasuredFilter& filter, std::size_t most) const = 0;

 protected:
  HistoryStore() = default;
  HistoryStore(const HistoryStore&) = delete;
  HistoryStore& operator=(const HistoryStore&) = delete;
};

std::unique_ptr<HistoryStore> open_sqlite_store(const HistoryPlace& place, HistoryStore::Open how);
// Throws where this build has no PostgreSQL.
std::unique_ptr<HistoryStore> open_postgres_store(const HistoryPlace& place, HistoryStore::Open how);

}  // namespace tachproof
