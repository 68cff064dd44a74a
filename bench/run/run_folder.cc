#include "bench/run/run_folder.h"

#include <fmt/format.h>

#include <algorithm>
#include <stdexcept>
#include <system_error>

#include "bench/reports/summary.h"
#include "bench/run/disk.h"
#include "bench/run/folder_format.h"

namespace tachproof {
namespace {

void make_empty_folder(const std::filesystem::path& folder) {
  std::error_code error;
  std::filesystem::create_directories(folder, error);
  if (error) throw std::runtime_error(fmt::format("cannot make {}: {}", folder.string(), error.message()));
  const bool empty = std::filesystem::is_empty(folder, error);
  if (error) throw std::runtime_error(fmt::format("cannot read {}: {}", folder.string(), error.message()));
  if (!empty)
    throw std::runtime_error(
        fmt::format("{} is not empty; a run writes only into a folder of its own", folder.string()));
}

// result.json moves last: until then the folder says what it said before.
void write_reports(const std::filesystem::path& folder, const RunRecord& record, const Trace& trace,
                   const std::string& result, AppendFile* journal, const std::string& last_line) {
  Replacement junit(folder / "junit.xml", junit_xml(record));
  Replacement report(folder / "report.html", report_html(record, trace));
  Replacement json(folder / "result.json", result);
  if (journal != nullptr) {
    journal->append(last_line);
    journal->sync();
  }
  junit.move_into_place();
  report.move_into_place();
  json.move_into_place();
  sync_folder(folder);
}

}  // namespace

struct RunFolder::Streams {
  Streams(const std::filesystem::path& folder, const Gauge& gauge)
      : journal(folder / "journal.jsonl"), timeline(folder / "timeline.csv"), channels(gauge.channels()) {}

  AppendFile journal;
  AppendFile timeline;
  std::size_t channels;
  std::optional<LampEvent> last;                // in timeline.csv
  std::size_t rpm = 0, lamps = 0, reaches = 0;  // written so far
};

RunFolder::RunFolder(std::filesystem::path path) : path_(std::move(path)) {}

RunFolder RunFolder::create(const std::filesystem::path& folder, const RunRecord& begun) {
  make_empty_folder(folder);
  RunFolder run(folder);
  run.streams_ = std::make_shared<Streams>(folder, begun.gauge);
  RunRecord record = begun;
  record.result.verdict = Verdict::undecided;
  record.result.complete = false;
  run.streams_->journal.append(begin_line(record));
  run.streams_->timeline.append(timeline_header(begun.gauge));
  write_reports(folder, record, {}, result_json(record), nullptr, {});
  return run;
}

std::string RunFolder::keep_input(const std::filesystem::path& file, const std::string& as) {
  const std::filesystem::path copy = path_ / as;
  std::error_code error;
  std::filesystem::copy_file(file, copy, error);
  if (error)
    throw std::runtime_error(
        fmt::format("cannot copy {} to {}: {}", file.string(), copy.string(), error.message()));
  return sha256_of_file(copy);
}

void RunFolder::journal(const std::string& json_line) {
  // A line end can only stand between JSON's tokens; as a blank it keeps one
  // object on one line.
  std::string line = json_line;
  std::replace(line.begin(), line.end(), '\n', ' ');
  streams_->journal.append(line + "\n");
}

void RunFolder::lamps(const std::vector<LampEvent>& events) {
  Streams& s = *streams_;
  const std::vector<LampEvent> changes = changes_only(events, s.last ? &*s.last : nullptr);
  if (changes.empty()) return;
  std::string rows;
  for (const LampEvent& event : changes) rows += timeline_row(event, s.channels);
  s.timeline.append(rows);
  s.last = changes.back();
  s.lamps += changes.size();
}

void RunFolder::rpm(const std::vector<RpmPoint>& points) {
  if (points.empty()) return;
  streams_->journal.append(rpm_line(points));
  streams_->rpm += points.size();
}

void RunFolder::reaches(const std::vector<Reach>& reaches) {
  if (reaches.empty()) return;
  streams_->journal.append(reaches_line(reaches));
  streams_->reaches += reaches.size();
}

namespace {

template <class T>
std::vector<T> after(const std::vector<T>& all, std::size_t first) {
  return {all.begin() + static_cast<std::ptrdiff_t>(std::min(first, all.size())), all.end()};
}

}  // namespace

void RunFolder::finish(const RunRecord& record, const Trace& trace) {
  const std::vector<LampEvent> changes = changes_only(trace.lamps);
  rpm(after(trace.rpm, streams_->rpm));
  reaches(after(trace.reaches, streams_->reaches));
  lamps(after(changes, streams_->lamps));
  streams_->timeline.sync();

  const std::string result = result_json(record);
  Seal seal;
  seal.verdict = reported_verdict(record.result);
  seal.complete = record.result.complete;
  seal.result_sha256 = sha256_of(result);
  seal.timeline_sha256 = sha256_of_file(path_ / "timeline.csv");
  seal.rpm = trace.rpm.size();
  seal.lamps = changes.size();
  seal.reaches = trace.reaches.size();
  seal.thinned = trace.thinned;
  write_reports(path_, record, trace, result, &streams_->journal, end_line(seal));
}

}  // namespace tachproof
