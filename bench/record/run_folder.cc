#include "bench/record/run_folder.h"

#include <fmt/format.h>

#include <algorithm>
#include <ctime>
#include <random>
#include <stdexcept>
#include <system_error>

#include "bench/record/disk.h"
#include "bench/record/folder_format.h"
#include "bench/record/record.h"
#include "bench/record/result_json.h"
#include "bench/record/summary.h"

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

// Everything that is written from the record, beside its place.
class Reports {
 public:
  Reports(const std::filesystem::path& folder, const RunRecord& record, const Trace& trace,
          const DrawPages& pages)
      : folder_(folder), result_(result_json(record)) {
    write("result.json", result_);
    if (pages)
      for (const Page& page : pages(record, trace)) write(page.name, page.text);
  }
  void write(const std::string& name, const std::string& text) {
    sums_.push_back({name, sha256_of(text)});
    replacements_.emplace_back(folder_ / name, text);
  }
  const std::vector<FileSum>& sums() const { return sums_; }
  const std::string& result_sha256() const { return sums_.front().sha256; }
  std::string take_result() { return std::move(result_); }
  // result.json moves last: until then the folder says what it said before.
  void move_into_place() {
    std::swap(replacements_.front(), replacements_.back());
    for (Replacement& replacement : replacements_) replacement.move_into_place();
    sync_folder(folder_);
  }

 private:
  const std::filesystem::path& folder_;
  std::string result_;
  std::vector<FileSum> sums_;
  std::vector<Replacement> replacements_;
};

// The day and 48 random bits: the same unit tested twice in one second by the
// same program with the same result still gives two reports.
std::string new_report_id(const RunRecord& record) {
  std::string day;
  for (const char c : record.started.substr(0, 10))
    if (c >= '0' && c <= '9') day += c;
  std::random_device random;
  return fmt::format("TP-{}-{:06x}{:06x}", day, random() & 0xffffffu, random() & 0xffffffu);
}

}  // namespace

std::string now_iso8601() {
  const std::time_t now = std::time(nullptr);
  std::tm local = {};
  localtime_r(&now, &local);
  char day_and_time[32], zone[8];  // 2031-03-14T15:09:26, +0100
  std::strftime(day_and_time, sizeof day_and_time, "%Y-%m-%dT%H:%M:%S", &local);
  std::strftime(zone, sizeof zone, "%z", &local);
  return fmt::format("{}{:.3}:{}", day_and_time, zone, zone + 3);
}

struct RunFolder::Streams {
  Streams(const std::filesystem::path& folder, const Gauge& gauge)
      : journal(folder / "journal.jsonl"), timeline(folder / "timeline.csv"), channels(gauge.channels()) {}

  AppendFile journal;
  AppendFile timeline;
  std::size_t channels;
  std::optional<LampEvent> last;                // in timeline.csv
  std::size_t rpm = 0, lamps = 0, reaches = 0;  // written so far
  std::optional<FinishedRun> finished;
};

RunFolder::RunFolder(std::filesystem::path path, DrawPages pages)
    : path_(std::move(path)), pages_(std::move(pages)) {}

RunFolder RunFolder::create(const std::filesystem::path& folder, const RunRecord& begun, DrawPages pages) {
  make_empty_folder(folder);
  RunFolder run(folder, std::move(pages));
  run.streams_ = std::make_shared<Streams>(folder, begun.gauge);
  RunRecord record = begun;
  record.result.verdict = Verdict::undecided;
  record.result.complete = false;
  run.streams_->journal.append(begin_line(record));
  run.streams_->timeline.append(timeline_header(begun.gauge));
  Reports(folder, record, {}, run.pages_).move_into_place();
  return run;
}

std::string RunFolder::keep_input(const std::filesystem::path& file, const std::string& as) {
  const std::filesystem::path copy = path_ / as;
  std::error_code error;
  std::filesystem::copy_file(file, copy, error);
  if (error)
    throw std::runtime_error(
        fmt::format("cannot copy {} to {}: {}", file.string(), copy.string(), error.message()));
  const std::string sha256 = sha256_of_file(copy);
  journal(input_line(as, sha256));
  return sha256;
}

std::string RunFolder::keep_text(std::string_view text, const std::string& as) {
  Replacement(path_ / as, text).move_into_place();
  const std::string sha256 = sha256_of(text);
  journal(input_line(as, sha256));
  return sha256;
}

void RunFolder::journal(const std::string& line) { streams_->journal.append(line); }

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

void RunFolder::finish(const RunRecord& judged, const Trace& trace) {
  const std::vector<LampEvent> changes = changes_only(trace.lamps);
  rpm(after(trace.rpm, streams_->rpm));
  reaches(after(trace.reaches, streams_->reaches));
  lamps(after(changes, streams_->lamps));
  streams_->timeline.sync();

  RunRecord record = judged;
  record.evidence_files = sums_of(path_, {"capture.vcd", "timeline.csv"});
  record.report_id = new_report_id(record);
  record.issued = now_iso8601();
  Reports reports(path_, record, trace, pages_);

  Seal seal;
  seal.verdict = reported_verdict(record.result);
  seal.complete = record.result.complete;
  seal.result_sha256 = reports.result_sha256();
  seal.timeline_sha256 = record.evidence_files.back().sha256;
  seal.rpm = trace.rpm.size();
  seal.lamps = changes.size();
  seal.reaches = trace.reaches.size();
  seal.thinned = trace.thinned;
  if (record.result.stamps) streams_->journal.append(stamps_line(*record.result.stamps));
  streams_->journal.append(end_line(seal));
  streams_->journal.sync();

  std::vector<std::string> inputs;
  for (const auto& [name, sha256] : record.inputs) inputs.push_back(name);
  std::vector<FileSum> sums = record.evidence_files;
  for (const auto& more : {sums_of(path_, inputs), sums_of(path_, {"journal.jsonl"}), reports.sums()})
    sums.insert(sums.end(), more.begin(), more.end());
  reports.write(checksums_name, checksums_text(sums));
  reports.move_into_place();
  record.result.transitions = {};
  streams_->finished = FinishedRun{std::move(record), reports.take_result()};
}

const FinishedRun& RunFolder::finished() const {
  if (!streams_->finished) throw std::logic_error("the run is not over");
  return *streams_->finished;
}

}  // namespace tachproof
