// What `grade` and `plan` read alike.
#pragma once

#include <string>

#include "bench/files/files.h"
#include "bench/run/fault_trials.h"

namespace tachproof {

// Throws FileErrors; UsageError for steps that make no profile, and for a dwell.
TrialScenario load_trial(const std::string& file);

// Without a file: a unit and a bench in software.
RigModel load_model(const std::string& rig_file, const Gauge& gauge);

// 0 for an empty text. Throws UsageError.
unsigned threads_in(const std::string& text);

}  // namespace tachproof
