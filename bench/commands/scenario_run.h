// One scenario, one gauge, one rig: what `run` plays once and a suite many times.
#pragma once

#include <string>

#include "bench/commands/inputs.h"
#include "bench/commands/report_options.h"
#include "bench/run/hooks.h"

namespace tachproof {

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
// beneath runs/. Throws UsageError when the folder cannot be made, RigError when
// the rig cannot be opened.
PlayedRun play(const ScenarioRun& run, const ReportOptions& options, const std::string& out, RunHooks hooks);
// The same with a person at the terminal, who sees how far it is; `label` stands before that.
PlayedRun play(const ScenarioRun& run, const ReportOptions& options, const std::string& out,
               const std::string& label = "");

}  // namespace tachproof
