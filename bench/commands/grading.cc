#include "bench/commands/grading.h"

#include "bench/commands/load.h"
#include "core/base/parse.h"

namespace tachproof {

TrialScenario load_trial(const std::string& file) {
  const ScenarioFile scenario = load_scenario(file);
  if (scenario.dwell) throw UsageError(file + ": a dwell decides flicker only, so there is nothing to grade");
  return {scenario.name, make_profile(scenario, file), scenario.noise, scenario.seed, scenario.judge};
}

RigModel load_model(const std::string& rig_file, const Gauge& gauge) {
  if (rig_file.empty()) return {};
  return model_of(load_rig(rig_file), rig_file, gauge);
}

unsigned threads_in(const std::string& text) {
  if (text.empty()) return 0;
  const std::optional<unsigned> threads = parse_number<unsigned>(text);
  if (!threads || *threads > 1024)
    throw UsageError("--threads is '" + text + "'; it must be a whole number from 0 to 1024");
  return *threads;
}

}  // namespace tachproof
