#include "bench/commands/report_options.h"

#include <cstdio>
#include <cstdlib>

#include "bench/files/files.h"
#include "bench/history/history.h"

namespace tachproof {

void ReportOptions::declare(Arguments& arguments) {
  arguments.option(certificate_, "--certificate", "FILE",
                   "What the shop states for the report: who, where, for whom, the bench's calibration, the "
                   "surroundings.");
  arguments.option(history_, "--history", "FILE",
                   "The history that the run is added to. Default: $TACHPROOF_HISTORY, else "
                   "~/.local/share/tachproof/history.db.");
  arguments.flag(no_history_, "--no-history", "Keeps the run out of any history.");
}

std::optional<Certificate> ReportOptions::load() const {
  if (certificate_.empty()) return std::nullopt;
  return load_certificate(certificate_);
}

void ReportOptions::keep(RunFolder& folder, RunRecord& record) const {
  if (!certificate_.empty())
    record.inputs.emplace_back("certificate.yaml", folder.keep_input(certificate_, "certificate.yaml"));
}

void ReportOptions::index(const RunFolder& folder) const {
  if (no_history_) return;
  try {
    const std::filesystem::path file = history_file(history_);
    if (!file.empty()) History(file, History::Open::make).add(folder.path());
  } catch (const std::exception& e) {
    std::fprintf(stderr, "warning: the run is not in the history: %s\n", e.what());
  }
}

std::filesystem::path history_file(const std::string& given) {
  if (!given.empty()) return given;
  if (const char* named = std::getenv("TACHPROOF_HISTORY")) return named;
  const char* const data = std::getenv("XDG_DATA_HOME");
  if (data != nullptr && *data == '/') return std::filesystem::path(data) / "tachproof" / "history.db";
  const char* const home = std::getenv("HOME");
  if (home == nullptr || *home == '\0')
    throw std::runtime_error("neither --history, TACHPROOF_HISTORY, XDG_DATA_HOME nor HOME says where it is");
  return std::filesystem::path(home) / ".local" / "share" / "tachproof" / "history.db";
}

}  // namespace tachproof
