// From the words of a command line to the pairs of a suite.
#pragma once

#include <deque>
#include <string>
#include <vector>

#include "bench/commands/scenario_run.h"
#include "bench/run/suite.h"

namespace tachproof {

struct SuiteWords {
  std::vector<std::string> scenarios, gauges;  // files and folders
  std::vector<std::string> rigs, serials;      // one for all, or one for each of `gauges`
  std::string certificate_sha256;              // empty: none
  int shard = 1, shards = 1;
  bool skip_unplayable = false;
};

// All that is played, gauge by gauge, each with every scenario. What the runs
// refer to is kept here.
struct SuitePlan {
  SuitePlan() = default;
  SuitePlan(SuitePlan&&) = default;

  std::deque<ScenarioInput> scenarios;
  std::deque<GaugeInput> gauges;
  std::deque<RigInput> rigs;
  std::vector<ScenarioRun> runs;
  SuiteRecord record;  // a pair for each run, in the same order
};

// A folder stands for its files of the right kind, by name; folders in it are
// not looked into, since run folders hold copies of scenarios. Throws FileErrors
// with the errors of all files, or a line for each pair that cannot be played.
SuitePlan make_plan(const SuiteWords& words);

bool is_folder(const std::string& name);
// Throws UsageError unless there is one rig, or one for each --gauge, and so
// for serial numbers.
void refuse_wrong_counts(const SuiteWords& words);

}  // namespace tachproof
