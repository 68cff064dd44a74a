// Suites of pairs that play nothing: every run is one of a script, in a run folder as a real one.
#pragma once

#include <gtest/gtest.h>

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "bench/record/suite_checksums.h"
#include "bench/reports/run_report.h"
#include "bench/run/suite.h"
#include "tests/bench/approved.h"
#include "tests/bench/drumlin_run.h"

namespace tachproof::test {

// A power cut: no part of the program survives it.
struct PowerCut {};

inline std::string sum(char c) { return std::string(64, c); }

inline SuitePair pair_of(const std::string& gauge, const std::string& scenario) {
  SuitePair pair;
  pair.gauge = gauge;
  pair.scenario = scenario;
  pair.gauge_title = gauge + " of the tests";
  pair.scenario_title = scenario;
  pair.gauge_file = "gauges/" + gauge + ".yaml";
  pair.scenario_file = "scenarios/" + scenario + ".yaml";
  pair.rig_file = "rig.yaml";
  pair.inputs = {{"gauge", sum('a')}, {"scenario", sum('b')}, {"rig", sum('c')}};
  pair.expected = 3 * ns_per_s;
  return pair;
}

inline SuiteRecord suite_of(std::vector<SuitePair> pairs) {
  SuiteRecord record;
  record.tool_version = "1";
  record.started = "2031-03-14T09:26:53+01:00";
  record.here = {1};
  record.pairs = std::move(pairs);
  record.plan_sha256 = sha256_of(plan_of(record));
  return record;
}

inline SuiteRecord four_pairs() {
  return suite_of(
      {pair_of("kame", "idle"), pair_of("kame", "lane"), pair_of("esker", "idle"), pair_of("esker", "lane")});
}

inline RunRecord ends(Verdict verdict, bool complete = true) {
  RunRecord record = drumlin::small().record;
  record.result.verdict = verdict;
  record.result.complete = complete;
  return record;
}
inline RunRecord cut_short() { return ends(Verdict::undecided, false); }

// A bench that follows a script: a run for every call, the last one for ever.
class Bench {
 public:
  explicit Bench(std::vector<RunRecord> script = {ends(Verdict::pass)}) : script_(std::move(script)) {}

  SuiteHooks hooks(const SuiteRecord& record) {
    SuiteHooks hooks;
    hooks.play = [this, &record](std::size_t i, const std::filesystem::path& folder) {
      return play(record, i, folder);
    };
    hooks.stop = [this]() -> std::optional<std::string> {
      if (played.size() < stop_after) return std::nullopt;
      return "it was stopped";
    };
    return hooks;
  }

  std::vector<std::string> played;
  std::size_t stop_after = 1000;
  int power_left = 1000;  // steps until the power is cut; a run has three

 private:
  void step() {
    if (power_left-- == 0) throw PowerCut{};
  }

  RunRecord play(const SuiteRecord& record, std::size_t i, const std::filesystem::path& folder) {
    const SuitePair& pair = record.pairs[i];
    RunRecord run = script_[std::min(played.size(), script_.size() - 1)];
    played.push_back(pair.gauge + "/" + pair.scenario);
    run.tool_version = record.tool_version;
    run.unit_serial = pair.unit_serial;
    run.inputs.clear();
    for (const FileSum& input : pair.inputs) run.inputs.emplace_back(input.file + ".yaml", input.sha256);
    step();
    RunFolder written = RunFolder::create(folder, run, run_pages);
    step();
    written.finish(run, drumlin::small().trace);
    step();
    return run;
  }

  std::vector<RunRecord> script_;
};

class Suite : public testing::Test {
 protected:
  std::filesystem::path folder() const { return scratch.path() / "suite"; }
  void play(SuiteRecord& record, Bench& bench) {
    resume_suite(record, folder());
    std::filesystem::create_directories(folder());
    play_suite(record, folder(), bench.hooks(record));
  }
  static std::vector<std::string> folders(const SuitePair& pair) {
    std::vector<std::string> names;
    for (const Attempt& a : pair.attempts) names.push_back(a.folder);
    return names;
  }
  TemporaryFolder scratch;
};

}  // namespace tachproof::test
