// The runs that were made: which unit, gauge, scenario, when, with what verdict, from what causes, and
// every boundary's numbers. In one SQLite file, or on a PostgreSQL server.
//
// Safe under a kill or a power cut and under several benches that write at once: each run is one
// transaction, made durable before `add` returns; who comes second waits.
//
// A run that a server cannot take, because it is away or for another reason of its own, waits in a local
// queue (run_queue.h), and the next History that reaches the server delivers it.
//
// Failures are std::runtime_error with a sentence.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "bench/history/history_place.h"
#include "bench/history/history_run.h"

namespace tachproof {

class HistoryStore;
class RunFolder;
struct CountedRun;

class History {
 public:
  enum class Open { make, existing };
  // A server that cannot be reached: with `make` runs can still be added, and wait.
  History(const HistoryPlace& place, Open how);
  ~History();
  History(History&&) noexcept;

  // A run that is in already, by the SHA-256 of its result.json, only gets its
  // new folder, and its causes where an older program left them out. False: it was in.
  bool add(const std::filesystem::path& run_folder);
  bool add(const RunFolder& finished);   // by this program, just now: faster
  bool waits() const { return waits_; }  // the run that was added last, for its server
  std::vector<HistoryRun> runs(const HistoryFilter& filter) const;  // oldest first

  // The run is added when it is not in. Whether it is fit to be a reference is
  // the caller's to say.
  void accept(const std::filesystem::path& run_folder, const Acceptance& acceptance);
  // Of the unit with this serial number, else of units without one of the gauge
  // of this name. Nothing: none was accepted.
  std::optional<ReferenceRun> reference(const std::string& unit_or_gauge) const;

  void must_be_there() const;  // throws what is wrong with it
  // How many runs wait for this place, where, and why; "" where none does.
  std::string warning() const;

 private:
  HistoryStore& store() const;
  bool add(const CountedRun& run);
  void deliver();

  HistoryPlace place_;
  std::unique_ptr<HistoryStore> store_;  // null: it could not be reached
  std::string why_;                      // what was wrong with it last
  bool waits_ = false;
};

// "2 runs wait for it in /home/bench/.local/state/tachproof/history-queue.db.", without asking the server; ""
// where none does.
std::string who_waits_for(const HistoryPlace& place);

}  // namespace tachproof
