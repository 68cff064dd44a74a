// One survey of one unit: what `survey` does once, and a job between other things.
#pragma once

#include <optional>
#include <string>

#include "bench/commands/scenario_run.h"
#include "bench/run/whole_survey.h"

namespace tachproof {

struct SurveyPlay {
  const GaugeInput& gauge;
  const RigInput& rig;
  double within_rpm = 1;
  bool unknown = false;
  std::optional<KnownBoundary> known = {};
  std::string unit_serial = {};
  bool responses = false;
};

// For who watches: "looking for boundaries", "3 of 18 boundaries known".
std::string boundaries_known(std::size_t known, std::size_t of);

// Opens the rig, surveys, judges, and closes the run folder; as `play` of a scenario. `hooks` without a
// `progress` of their own show none.
PlayedRun play(const SurveyPlay& survey, const ReportOptions& options, const std::string& out,
               SurveyHooks hooks);

}  // namespace tachproof
