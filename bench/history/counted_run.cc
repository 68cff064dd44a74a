#include "bench/history/counted_run.h"

#include <fmt/format.h>

#include <cmath>
#include <stdexcept>

#include "bench/history/sqlite.h"
#include "bench/record/disk.h"
#include "bench/record/result_json.h"
#include "bench/record/run_folder.h"
#include "core/base/foreign_text.h"

namespace tachproof {
namespace {

// SQLite reads dates, whatever the history is kept in.
std::int64_t seconds_since_1970(const std::string& started, const std::string& file) {
  const SqliteFile nothing(":memory:", SqliteFile::Open::make, 0, "calendar");
  SqliteStatement date(nothing, "SELECT strftime('%s', ?)");
  if (!date.bind(started).step() || !std::isfinite(date.number(0)))
    throw std::runtime_error(fmt::format("{} does not say when the run began ('{}'), so the run is not added",
                                         file, shown(started.substr(0, 40))));
  return date.whole(0);
}

// A folder that was cut short has the result that it began with; one whose result cannot be read
// has none that a history could count.
RunRecord countable(const std::string& result, const std::string& file) {
  try {
    return record_from_json(result);
  } catch (const std::runtime_error& e) {
    throw std::runtime_error(fmt::format("{} does not count, so the run is not added: {}", file, e.what()));
  }
}

// A result that did not count a moment ago.
std::string uncounted(const std::filesystem::path& file) {
  std::string result;
  try {
    result = whole_file(file);
  } catch (const std::runtime_error& e) {
    throw std::runtime_error(
        fmt::format("{} does not count, so the run is not added: {}", file.string(), e.what()));
  }
  countable(result, file.string());
  throw std::runtime_error(
      fmt::format("{} changed while it was read, so the run is not added: add it again", file.string()));
}

CountedRun counted(std::string result, RunRecord record, std::string folder, const std::string& file) {
  CountedRun run;
  run.result_sha256 = sha256_of(result);
  run.result = std::move(result);
  run.folder = std::move(folder);
  run.started_s = seconds_since_1970(record.started, file);
  run.record = std::move(record);
  return run;
}

std::string full_path(const std::filesystem::path& folder) {
  return std::filesystem::absolute(folder).lexically_normal().string();
}

}  // namespace

CountedRun counted_run(const std::filesystem::path& run_folder) {
  StoredRun stored = load_run(run_folder);
  const std::filesystem::path file = run_folder / "result.json";
  // What was read there need not be read again, unless to say what is wrong with it.
  std::string result = stored.result ? std::move(*stored.result) : uncounted(file);
  return counted(std::move(result), std::move(stored.record), full_path(run_folder), file.string());
}

CountedRun counted_run(const RunFolder& finished) {
  const FinishedRun& told = finished.finished();
  const std::string file = (finished.path() / "result.json").string();
  // Through the reader, as what a folder says: no history keeps a transition.
  return counted(told.result, countable(result_json(told.record), file), full_path(finished.path()), file);
}

CountedRun counted_before(std::string result, const std::string& folder, Verdict verdict, bool complete) {
  const std::string file = "the result of " + folder;
  RunRecord record = countable(result, file);
  record.result.verdict = verdict;
  record.result.complete = complete;
  return counted(std::move(result), std::move(record), folder, file);
}

}  // namespace tachproof
