#include "bench/history/run_queue.h"

#include <fmt/format.h>

#include <cstdlib>
#include <stdexcept>
#include <system_error>

#include "bench/history/history_rows.h"

namespace tachproof {
namespace {

constexpr int queue_id = 0x54505131;  // "TPQ1"
constexpr int queue_format = 1;
constexpr int queue_patience_ms = 15'000;  // while another bench writes

// A place is known by how it is shown: no password is kept here.
constexpr const char* queue_schema = R"sql(
CREATE TABLE waiting (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  place TEXT NOT NULL,
  result_sha256 TEXT NOT NULL,
  folder TEXT NOT NULL,
  verdict TEXT NOT NULL,
  complete INTEGER NOT NULL,
  result TEXT NOT NULL,
  UNIQUE (place, result_sha256)
);
)sql";

std::filesystem::path folder_made(const std::filesystem::path& file) {
  std::error_code error;
  if (file.has_parent_path()) std::filesystem::create_directories(file.parent_path(), error);
  if (error)
    throw std::runtime_error(fmt::format("cannot make {}: {}", file.parent_path().string(), error.message()));
  return file;
}

}  // namespace

std::filesystem::path RunQueue::file() {
  const auto value = [](const char* name) {
    const char* const text = std::getenv(name);
    return std::string(text == nullptr ? "" : text);
  };
  if (const std::string named = value("TACHPROOF_HISTORY_QUEUE"); !named.empty()) return named;
  if (const std::string state = value("XDG_STATE_HOME"); state.starts_with('/'))
    return std::filesystem::path(state) / "tachproof" / "history-queue.db";
  const std::string home = value("HOME");
  if (home.empty())
    throw std::runtime_error("none of TACHPROOF_HISTORY_QUEUE, XDG_STATE_HOME and HOME is set");
  return std::filesystem::path(home) / ".local" / "state" / "tachproof" / "history-queue.db";
}

std::optional<RunQueue> RunQueue::existing() {
  std::error_code error;
  if (!std::filesystem::exists(file(), error)) return std::nullopt;
  return std::optional<RunQueue>(std::in_place);
}

RunQueue::RunQueue() : db_(folder_made(file()), SqliteFile::Open::make, queue_patience_ms, "queue") {
  db_.run("PRAGMA synchronous = EXTRA; PRAGMA trusted_schema = OFF");
  const auto format = [this] { return db_.number("PRAGMA user_version"); };
  if (format() == 0) {
    SqliteTransaction transaction(db_);
    if (format() == 0 && db_.number("SELECT count(*) FROM sqlite_schema") == 0) {
      db_.run(queue_schema);
      db_.mark_as(queue_id);
      db_.run(fmt::format("PRAGMA user_version = {}", queue_format));
      transaction.commit();
    }
  }
  if (!db_.is_marked_as(queue_id))
    throw std::runtime_error(fmt::format(
        "{} is not a queue of Tachproof: name another file with TACHPROOF_HISTORY_QUEUE", file().string()));
  if (format() != queue_format)
    throw std::runtime_error(fmt::format("the queue {} has format {}, and this program knows format {}",
                                         file().string(), format(), queue_format));
}

void RunQueue::put(const HistoryPlace& place, const CountedRun& run) {
  const RunResult& result = run.record.result;
  SqliteStatement insert(
      db_,
      "INSERT INTO waiting (place, result_sha256, folder, verdict, complete, result) VALUES "
      "(?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET folder = excluded.folder");
  insert.bind(place.shown()).bind(run.result_sha256).bind(run.folder);
  insert.bind(std::string(word(result.verdict))).bind(result.complete).bind(run.result);
  insert.step();
}

std::size_t RunQueue::count(const HistoryPlace& place) const {
  SqliteStatement rows(db_, "SELECT count(*) FROM waiting WHERE place = ?");
  return rows.bind(place.shown()).step() ? static_cast<std::size_t>(rows.whole(0)) : 0;
}

std::vector<std::int64_t> RunQueue::waiting(const HistoryPlace& place) const {
  SqliteStatement rows(db_, "SELECT id FROM waiting WHERE place = ? ORDER BY id");
  rows.bind(place.shown());
  std::vector<std::int64_t> all;
  while (rows.step()) all.push_back(rows.whole(0));
  return all;
}

std::optional<CountedRun> RunQueue::at(std::int64_t id) const {
  SqliteStatement rows(db_, "SELECT result, folder, verdict, complete FROM waiting WHERE id = ?");
  if (!rows.bind(id).step()) return std::nullopt;
  return counted_before(rows.text(0), rows.text(1), verdict_from_word(rows.text(2)), rows.whole(3) != 0);
}

void RunQueue::remove(std::int64_t id) {
  SqliteStatement rows(db_, "DELETE FROM waiting WHERE id = ?");
  rows.bind(id).step();
}

}  // namespace tachproof
