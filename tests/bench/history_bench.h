// Run folders for a history, and where it is kept: in a file, or on a server.
#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <stdexcept>
#include <string>
#include <vector>

#include "bench/history/history.h"
#include "bench/reports/run_report.h"
#include "tests/bench/approved.h"
#include "tests/bench/drumlin_run.h"
#include "tests/bench/postgres_server.h"

namespace tachproof {

class HistoryBench : public testing::Test {
 protected:
  // What a run's queue is to be is the test's own.
  HistoryBench() { ::setenv("TACHPROOF_HISTORY_QUEUE", queue().c_str(), 1); }
  ~HistoryBench() override { ::unsetenv("TACHPROOF_HISTORY_QUEUE"); }

  std::filesystem::path file() const { return temporary.path() / "deep" / "history.db"; }
  std::filesystem::path queue() const { return temporary.path() / "queue" / "waiting.db"; }

  // A finished run folder of one unit whose threshold is `off_rpm` from nominal.
  std::filesystem::path run(const std::string& unit, const std::string& started, double off_rpm,
                            bool complete = true, const std::string& watch = "board") {
    const std::filesystem::path folder = temporary.path() / ("run-" + std::to_string(++runs));
    drumlin::Run run = drumlin::small();
    run.record.inputs.clear();
    run.record.unit_serial = unit;
    run.record.watch = watch;
    run.record.started = started;
    run.record.result.complete = complete;
    BoundaryResult b;
    b.boundary = "brisk";
    b.nominal_rpm = 3000;
    b.threshold_rpm = 3000 + off_rpm;
    b.expanded_uncertainty_rpm = 0.6;
    b.verdict = Verdict::pass;
    run.record.result.boundaries = {b};
    RunFolder::create(folder, run.record, run_pages).finish(run.record, run.trace);
    return folder;
  }
  // So many of each of these benches, of units K0, K1, ..., a second apart.
  std::vector<std::vector<std::filesystem::path>> runs_of(int benches, int each) {
    std::vector<std::vector<std::filesystem::path>> folders(static_cast<std::size_t>(benches));
    for (int b = 0; b < benches; ++b)
      for (int i = 0; i < each; ++i)
        folders[static_cast<std::size_t>(b)].push_back(
            run("K" + std::to_string(b), "2031-03-14T09:26:" + std::to_string(10 + i) + "Z", i));
    return folders;
  }
  // A run that failed, and what explains it.
  std::filesystem::path failed_run(const std::string& unit, const std::vector<Cause>& causes) {
    const std::filesystem::path folder = temporary.path() / ("run-" + std::to_string(++runs));
    drumlin::Run run = drumlin::small();
    run.record.inputs.clear();
    run.record.unit_serial = unit;
    run.record.watch = "board";
    run.record.started = "2031-03-14T09:26:53+01:00";
    run.record.result.verdict = Verdict::fail;
    run.record.causes.list = causes;
    BoundaryResult b;
    b.boundary = "brisk";
    run.record.result.boundaries = {b};
    RunFolder::create(folder, run.record, run_pages).finish(run.record, run.trace);
    return folder;
  }

  TemporaryFolder temporary;
  int runs = 0;
};

// "" where there is one: else why tests of a server are skipped.
inline std::string no_server() {
  if (common_postgres_server() == nullptr)
    return "Debian's package postgresql is missing: no server to test against";
  try {
    History(HistoryPlace(common_postgres_server()->address("postgres")), History::Open::existing);
  } catch (const std::runtime_error& e) {
    if (std::string(e.what()).find("this build has no PostgreSQL") != std::string::npos) return e.what();
  }
  return {};
}
#define NEEDS_A_SERVER() \
  if (const std::string why = no_server(); !why.empty()) GTEST_SKIP() << why

// The child ends by itself when it has added all; else it is killed.
template <class Work>
pid_t child(Work work) {
  const pid_t pid = ::fork();
  if (pid == 0) {
    try {
      work();
    } catch (const std::exception& e) {
      std::fprintf(stderr, "a child: %s\n", e.what());
      ::_exit(1);
    }
    ::_exit(0);
  }
  return pid;
}

inline int status_of(pid_t pid) {
  int status = 0;
  ::waitpid(pid, &status, 0);
  return status;
}

inline Cause cause(const std::string& text, std::uint64_t explains, std::uint64_t of) {
  Cause one;
  one.text = text;
  one.explains = explains;
  one.of = of;
  one.todo = "Write the settings to the unit again.";
  return one;
}

}  // namespace tachproof
