// One scenario, one gauge, one rig: what `run` plays once and a suite many times.
#pragma once

#include <string>

#include "bench/commands/report_options.h"
#include "bench/files/files.h"
#include "core/signal/profile.h"

namespace tachproof {

// A file as it was read, and the sum of what was read.
struct GaugeInput {
  std::string file, sha256;
  Gauge gauge;
};
struct ScenarioInput {
  std::string file, sha256;
  ScenarioFile scenario;
  Profile profile;  // empty where there is a dwell
};
struct RigInput {
  std::string file, sha256;
  RigFile rig;
  std::string text = {};  // of a rig that is in no file; then `file` is only its name
};
// Throw FileErrors; UsageError for steps that make no profile.
GaugeInput load_gauge_input(const std::string& file);
ScenarioInput load_scenario_input(const std::string& file);
RigInput load_rig_input(const std::string& file);

struct ScenarioRun {
  const ScenarioInput& scenario;
  const GaugeInput& gauge;
  const RigInput& rig;
  std::string unit_serial;

  Nanos longest() const;  // that it can take
};

// Throws UsageError or FileErrors where rig, gauge and scenario do not go
// together. Nothing is opened.
void refuse_unplayable(const ScenarioRun& run);

struct PlayedRun {
  RunRecord record;
  RunFolder folder;
};
// Opens the rig, plays, judges, and closes the run folder: `out`, or a new one
// beneath runs/. `label` stands before the progress. Throws UsageError when the
// folder cannot be made, RigError when the rig cannot be opened, and
// std::runtime_error when a file is no longer what was read.
PlayedRun play(const ScenarioRun& run, const ReportOptions& options, const std::string& out,
               const std::string& label = "");

}  // namespace tachproof
