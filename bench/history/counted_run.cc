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

}  // namespace

CountedRun counted_run(const std::filesystem::path& run_folder) {
  CountedRun run;
  StoredRun stored = load_run(run_folder);
  const std::filesystem::path file = run_folder / "result.json";
  // What was read there need not be read again, unless to say what is wrong with it.
  run.result = stored.result ? std::move(*stored.result) : uncounted(file);
  run.record = std::move(stored.record);
  run.result_sha256 = sha256_of(run.result);
  run.folder = std::filesystem::absolute(run_folder).lexically_normal().string();
  run.started_s = seconds_since_1970(run.record.started, file.string());
  return run;
}

CountedRun counted_run(const RunFolder& finished) {
  const FinishedRun& told = finished.finished();
  const std::string file = (finished.path() / "result.json").string();
  CountedRun run;
  run.result = told.result;
  run.result_sha256 = sha256_of(run.result);
  run.folder = std::filesystem::absolute(finished.path()).lexically_normal().string();
  // Through the reader, as what a folder says: no history keeps a transition.
  run.record = countable(result_json(told.record), file);
  run.started_s = seconds_since_1970(run.record.started, file);
  return run;
}

CountedRun counted_before(std::string result, const std::string& folder, Verdict verdict, bool complete) {
  CountedRun run;
  run.result_sha256 = sha256_of(result);
  run.folder = folder;
  run.record = countable(result, "the result of " + folder);
  run.record.result.verdict = verdict;
  run.record.result.complete = complete;
  run.started_s = seconds_since_1970(run.record.started, "the result of " + folder);
  run.result = std::move(result);
  return run;
}

}  // namespace tachproof
