#include "bench/commands/report_options.h"

#include <cstdio>
#include <cstdlib>

#include "bench/commands/accepted_settings.h"
#include "bench/commands/run_output.h"
#include "bench/commands/version.h"
#include "bench/files/files.h"
#include "bench/history/history.h"
#include "bench/record/record.h"
#include "bench/record/text.h"

namespace tachproof {

void ReportOptions::declare(Arguments& arguments, const std::string& named_after,
                            std::vector<std::string>* serials) {
  if (serials == nullptr)
    arguments.option(serial_, "--unit-serial", "TEXT", "The unit's serial number, for the record.");
  else
    arguments.repeated(*serials, "--unit-serial", "TEXT",
                       "The unit's serial number, for the record; for a suite one for each --gauge, in the "
                       "same order.");
  arguments.option(certificate_file_, "--certificate", "FILE",
                   "What the shop states for the report: who, where, for whom, the bench's calibration, the "
                   "surroundings.");
  arguments.option(
      history_, "--history", "PLACE",
      "The history that the run is added to: a file or postgresql://... Default: $TACHPROOF_HISTORY, else "
      "~/.local/share/tachproof/history.db.");
  arguments.flag(no_history_, "--no-history", "Keeps the run out of any history.");
  arguments.option(
      out_, "--out", "DIR",
      "The run folder; it must be empty or not exist. Default: runs/<date>-" + named_after + "[-<serial>].");
  arguments.flag(json_, "--json", "Prints result.json instead of the table.");
}

void ReportOptions::declare_to_the_end(Arguments& arguments, const std::string& what) {
  arguments.flag(to_the_end_, "--to-the-end", what);
}

void ReportOptions::set(std::string certificate_file, std::string history, bool no_history) {
  certificate_file_ = std::move(certificate_file);
  history_ = std::move(history);
  no_history_ = no_history;
}

void ReportOptions::load() {
  if (!certificate_file_.empty()) certificate_ = load_certificate_input(certificate_file_);
}

RunRecord ReportOptions::begun(const GaugeInput& gauge) const {
  RunRecord record;
  record.gauge = gauge.gauge;
  record.gauge_name = gauge.gauge.name;
  record.gauge_sha256 = gauge.sha256;
  record.unit_serial = serial_;
  record.started = now_iso8601();
  record.tool_version = tool_version;
  record.to_the_end = to_the_end_;
  if (certificate_) record.certificate = certificate_->certificate;
  return record;
}

RunFolder ReportOptions::make_folder(RunRecord& record, const std::string& out) const {
  RunFolder folder = make_run_folder(out, record);
  if (certificate_) record.inputs.push_back(kept(folder, *certificate_, "certificate.yaml"));
  for (const auto& [as, bytes] : also_kept_) record.inputs.emplace_back(as, folder.keep_text(bytes, as));
  return folder;
}

int ReportOptions::close(const RunFolder& folder, const RunRecord& record) const {
  add_to_history(folder);
  return print_outcome(record, folder, json_);
}

void note_rig(const Rig& rig, RunRecord& record) {
  const SourceFacts source = rig.source->facts();
  const WatcherFacts watcher = rig.watcher->facts();
  record.source = source.kind;
  record.source_description = source.description;
  record.watch = watcher.kind;
  record.watch_description = watcher.description;
  record.bench = bench_facts(rig);
}

void ReportOptions::add_to_history(const RunFolder& folder) const {
  if (no_history_) return;
  try {
    const HistoryPlace place = history_place(history_);
    if (place.empty()) return;
    History history(place, History::Open::make);
    history.add(folder);
    warn_of_waiting(history);
  } catch (const std::exception& e) {
    std::fprintf(stderr, "warning: the run is not in the history: %s\n", printable(e.what()).c_str());
  }
}

AcceptedSettings ReportOptions::accepted(const RunRecord& record) const {
  if (no_history_) return {};
  return [this, &record]() -> std::optional<CandidateFile> {
    try {
      return accepted_settings(history_place(history_), record).gauge;
    } catch (const std::runtime_error&) {
      return std::nullopt;  // there is no place for a history
    }
  };
}

void warn_of_waiting(const History& history) {
  const std::string warning = history.warning();
  if (!warning.empty()) std::fprintf(stderr, "warning: %s\n", printable(warning).c_str());
}

HistoryPlace history_place(const std::string& given) {
  if (!given.empty()) return given;
  if (const char* named = std::getenv("TACHPROOF_HISTORY")) return named;
  const char* const data = std::getenv("XDG_DATA_HOME");
  if (data != nullptr && *data == '/') return std::filesystem::path(data) / "tachproof" / "history.db";
  const char* const home = std::getenv("HOME");
  if (home == nullptr || *home == '\0')
    throw std::runtime_error(
        "give --history, since none of TACHPROOF_HISTORY, XDG_DATA_HOME and HOME is set");
  return std::filesystem::path(home) / ".local" / "share" / "tachproof" / "history.db";
}

}  // namespace tachproof
