#include "bench/commands/accepted_settings.h"

#include <fmt/format.h>

#include <stdexcept>

#include "bench/files/files.h"
#include "bench/files/regular_file.h"
#include "bench/history/history.h"
#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "bench/record/run_folder.h"
#include "bench/record/summary.h"

namespace tachproof {
namespace {

constexpr std::size_t day = 10;  // of an ISO date

std::optional<ReferenceRun> accepted_run(const HistoryPlace& history, const std::string& serial) {
  try {
    return History(history, History::Open::existing).reference(serial);
  } catch (const std::runtime_error&) {
    return std::nullopt;
  }
}

struct Unusable : std::runtime_error {
  using std::runtime_error::runtime_error;
};

// Throws Unusable with a clause, and std::runtime_error for what cannot be read.
std::optional<CandidateFile> settings_of(const ReferenceRun& reference, const RunRecord& of) {
  const std::filesystem::path folder = reference.folder, file = folder / "gauge.yaml";
  if (!is_file_there(folder / "result.json") || !is_file_there(file)) throw Unusable("is not there any more");
  if (sha256_of_file(folder / "result.json") != reference.result_sha256)
    throw Unusable("was changed since it was accepted");
  const RunRecord accepted = load_run(folder).record;
  if (accepted.unit_serial != of.unit_serial ||
      is_simulated_unit(accepted.watch) != is_simulated_unit(of.watch))
    return std::nullopt;
  std::string bytes;
  Gauge gauge = load_gauge(file, &bytes);
  if (sha256_of(bytes) != accepted.gauge_sha256) throw Unusable("was changed since it was accepted");
  return CandidateFile{{file.string(), std::move(gauge), accepted.started.substr(0, day)}, std::move(bytes)};
}

}  // namespace

AcceptedGauge accepted_settings(const HistoryPlace& history, const RunRecord& of) {
  if (of.unit_serial.empty() || history.empty()) return {};
  const std::optional<ReferenceRun> reference = accepted_run(history, of.unit_serial);
  if (!reference) return {};
  const auto none = [&](const char* why) {
    return AcceptedGauge{
        std::nullopt, fmt::format("The accepted run of unit {} in {} {}, so its settings are no candidate.",
                                  of.unit_serial, reference->folder, why)};
  };
  try {
    return {settings_of(*reference, of), ""};
  } catch (const Unusable& e) {
    return none(e.what());
  } catch (const std::runtime_error&) {
    return none("cannot be read");
  }
}

}  // namespace tachproof
