#include "bench/history/history.h"

#include <fmt/format.h>

#include <stdexcept>

#include "bench/history/counted_run.h"
#include "bench/history/history_store.h"
#include "bench/history/run_queue.h"
#include "bench/record/run_folder.h"

namespace tachproof {
namespace {

std::size_t waiting_for(const HistoryPlace& place) {
  const std::optional<RunQueue> queue = RunQueue::existing();
  return queue ? queue->count(place) : 0;
}

std::string runs_wait(std::size_t count) {
  return count == 1 ? "1 run waits" : fmt::format("{} runs wait", count);
}

bool does_any_wait_for(const HistoryPlace& place) {
  try {
    return waiting_for(place) > 0;
  } catch (const std::runtime_error&) {
    return false;  // warning() says so
  }
}

}  // namespace

std::unique_ptr<HistoryStore> HistoryStore::open(const HistoryPlace& place, Open how) {
  return place.is_server() ? open_postgres_store(place, how) : open_sqlite_store(place, how);
}

History::History(const HistoryPlace& place, Open how) : place_(place) {
  if (!place.is_server()) {
    store_ = HistoryStore::open(place,
                                how == Open::make ? HistoryStore::Open::make : HistoryStore::Open::existing);
    return;
  }
  try {
    // Runs that wait make the history that they wait for.
    const bool make = how == Open::make || does_any_wait_for(place);
    store_ = HistoryStore::open(place, make ? HistoryStore::Open::make : HistoryStore::Open::existing);
    deliver();
  } catch (const std::runtime_error& e) {
    why_ = e.what();
    store_.reset();
    if (how == Open::make) return;
    const std::string waits = warning();
    throw std::runtime_error(waits.empty() ? why_ : waits);
  }
}
History::~History() = default;
History::History(History&&) noexcept = default;

HistoryStore& History::store() const {
  if (!store_) throw std::runtime_error(why_);
  return *store_;
}

// What is in already is in once: a run that was delivered and could not be taken from the queue comes to
// nothing the second time.
void History::deliver() {
  if (!does_any_wait_for(place_)) return;
  std::optional<RunQueue> queue = RunQueue::existing();
  for (const std::int64_t id : queue->waiting(place_)) {
    try {
      if (const std::optional<CountedRun> run = queue->at(id)) store_->add(*run);
      queue->remove(id);
    } catch (const HistoryAway&) {
      throw;
    } catch (const std::runtime_error& e) {
      why_ = e.what();  // of this one run: the others may do better
    }
  }
}

bool History::add(const std::filesystem::path& run_folder) { return add(counted_run(run_folder)); }
bool History::add(const RunFolder& finished) { return add(counted_run(finished)); }

bool History::add(const CountedRun& run) {
  waits_ = false;
  if (!place_.is_server()) return store_->add(run);
  try {
    return store().add(run);
  } catch (const std::runtime_error& e) {
    why_ = e.what();
  }
  try {
    RunQueue().put(place_, run);
  } catch (const std::runtime_error& e) {
    throw std::runtime_error(fmt::format("{}; and it cannot wait: {}", why_, e.what()));
  }
  return waits_ = true;
}

void History::must_be_there() const { store(); }

std::vector<HistoryRun> History::runs(const HistoryFilter& filter) const { return store().runs(filter); }

void History::accept(const std::filesystem::path& run_folder, const Acceptance& acceptance) {
  store().add(counted_run(run_folder));
  if (!store().accept(sha256_of_file(run_folder / "result.json"), acceptance))
    throw std::runtime_error(fmt::format("{} changed while it was accepted", run_folder.string()));
}

std::optional<ReferenceRun> History::reference(const std::string& unit_or_gauge) const {
  return store().reference(unit_or_gauge);
}

std::string History::warning() const {
  if (!place_.is_server()) return {};
  try {
    const std::size_t waiting = waiting_for(place_);
    if (waiting == 0) return {};
    return fmt::format("{} in {} for the history {}, until a command reaches it: {}", runs_wait(waiting),
                       RunQueue::file().string(), place_.shown(), why_);
  } catch (const std::runtime_error& e) {
    return e.what();
  }
}

std::string who_waits_for(const HistoryPlace& place) try {
  const std::size_t waiting = place.is_server() ? waiting_for(place) : 0;
  return waiting == 0 ? "" : fmt::format("{} for it in {}.", runs_wait(waiting), RunQueue::file().string());
} catch (const std::runtime_error& e) {
  return e.what();
}

}  // namespace tachproof
