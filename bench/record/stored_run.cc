#include <fmt/format.h>

#include <algorithm>
#include <limits>
#include <stdexcept>
#include <system_error>

#include "bench/files/own_files.h"
#include "bench/files/regular_file.h"
#include "bench/record/disk.h"
#include "bench/record/folder_format.h"
#include "bench/record/result_json.h"
#include "bench/record/run_folder.h"

namespace tachproof {
namespace {

// Bounds the memory that a damaged folder can ask for.
constexpr std::size_t most_kept = 2'000'000;

using Troubles = std::vector<std::string>;

void read_record(const std::filesystem::path& folder, const Journal& journal, StoredRun& run,
                 Troubles& troubles) {
  std::string why = "it is missing";
  try {
    if (is_there(folder / "result.json")) {
      std::string text = whole_file(folder / "result.json");
      run.record = record_from_json(text);
      if (journal.seal && journal.seal->result_sha256 != sha256_of(text))
        troubles.push_back("result.json is not as the run left it, so its verdict does not count.");
      run.result = std::move(text);
      return;
    }
  } catch (const std::runtime_error& e) {
    why = e.what();
  }
  troubles.push_back(fmt::format("result.json does not count: {}.", why));
  run.record = journal.begun.value_or(RunRecord{});
}

void check_files(const std::filesystem::path& folder, const RunRecord& record, const Seal& seal,
                 Troubles& troubles) {
  const std::filesystem::path timeline = folder / "timeline.csv";
  // A row has a time of at most 21 characters and two for each channel. Of a thinned run the seal
  // counts the beginning only.
  const std::uintmax_t most = seal.thinned ? std::numeric_limits<std::uintmax_t>::max()
                                           : 1'000'000 + (seal.lamps + 1) * (24 + 2 * max_channels);
  std::error_code error;
  if (!is_there(timeline))
    troubles.push_back("timeline.csv is missing.");
  else if (const std::uintmax_t size = std::filesystem::file_size(timeline, error); !error && size > most)
    troubles.push_back(
        fmt::format("timeline.csv has {} bytes, more than the {} lamp changes that the run had can take.",
                    size, seal.lamps));
  else if (sha256_of_file(timeline) != seal.timeline_sha256)
    troubles.push_back("timeline.csv is not as the run left it.");
  for (const auto& [name, sha256] : record.inputs) {
    const std::filesystem::path copy = folder / name;
    if (is_there(copy) && sha256_of_file(copy) != sha256)
      troubles.push_back(fmt::format("{} is not the file that the run was given.", name));
  }
}

template <class Row>
bool is_in_time_order(const std::vector<Row>& rows, Nanos Row::*at) {
  return std::is_sorted(rows.begin(), rows.end(), [&](const Row& a, const Row& b) { return a.*at < b.*at; });
}

Trace read_trace(const std::filesystem::path& folder, Journal& journal, const Gauge& gauge,
                 Troubles& troubles) {
  const std::size_t most = std::min(journal.seal ? journal.seal->lamps : most_kept, most_kept);
  StoredTimeline timeline = read_timeline(folder / "timeline.csv", gauge.channels(), most);
  Trace trace{std::move(journal.rpm), std::move(timeline.events), std::move(journal.reaches),
              journal.more || timeline.more};
  const auto of_no_window = [&](const Reach& r) {
    return r.lowest > r.highest || r.highest >= gauge.windows.size();
  };
  if (std::erase_if(trace.reaches, of_no_window) > 0)
    troubles.push_back("journal.jsonl speaks of windows that the gauge does not have.");
  if (!is_in_time_order(trace.rpm, &RpmPoint::at) || !is_in_time_order(trace.reaches, &Reach::from)) {
    trace.rpm.clear();
    trace.reaches.clear();
    troubles.push_back("journal.jsonl tells instants that go back in time.");
  }
  if (journal.seal) {
    const Seal& seal = *journal.seal;
    if (trace.rpm.size() < seal.rpm || trace.reaches.size() < seal.reaches)
      troubles.push_back("journal.jsonl lacks lines that the run had written.");
    if (trace.rpm.size() > seal.rpm) trace.rpm.resize(seal.rpm);
    if (trace.reaches.size() > seal.reaches) trace.reaches.resize(seal.reaches);
    trace.thinned = seal.thinned;
  }
  return trace;
}

}  // namespace

StoredRun load_run(const std::filesystem::path& folder) {
  if (!is_there(folder / "result.json") && !is_there(folder / "journal.jsonl"))
    throw std::runtime_error(
        fmt::format("{} is not a run folder: it has neither result.json nor journal.jsonl", folder.string()));
  require_plain_entries(folder);
  Troubles troubles;
  Journal journal = read_journal(folder / "journal.jsonl", most_kept);
  StoredRun run;
  read_record(folder, journal, run, troubles);
  if (journal.seal)
    check_files(folder, run.record, *journal.seal, troubles);
  else
    troubles.push_back("The run did not get to its end: its journal stops without a last line.");
  run.trace = read_trace(folder, journal, run.record.gauge, troubles);

  if (!troubles.empty()) {
    RunResult& r = run.record.result;
    r.complete = false;
    r.verdict = worst(r.verdict, Verdict::undecided);
    r.notes.insert(r.notes.begin(), troubles.begin(), troubles.end());
  }
  return run;
}

}  // namespace tachproof
