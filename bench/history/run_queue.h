// Runs that wait for a server: each as a whole, so that its folder may be moved or deleted meanwhile.
//
// One SQLite file for all servers, written as safely as a history is. Failures are std::runtime_error with
// a sentence.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "bench/history/counted_run.h"
#include "bench/history/history_place.h"
#include "bench/history/sqlite.h"

namespace tachproof {

class RunQueue {
 public:
  // TACHPROOF_HISTORY_QUEUE, else tachproof/history-queue.db where the user's state is ($XDG_STATE_HOME, or
  // ~/.local/state). Throws when there is no such place.
  static std::filesystem::path file();
  // Nothing: no run has ever waited.
  static std::optional<RunQueue> existing();
  RunQueue();  // made where there is none

  // A run that waits already, by its result, waits once.
  void put(const HistoryPlace& place, const CountedRun& run);
  std::size_t count(const HistoryPlace& place) const;
  // In the order in which they came.
  std::vector<std::int64_t> waiting(const HistoryPlace& place) const;
  // Nothing: somebody else has delivered it.
  std::optional<CountedRun> at(std::int64_t id) const;
  void remove(std::int64_t id);

 private:
  SqliteFile db_;
};

}  // namespace tachproof
