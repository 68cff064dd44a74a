// Runs in which one system call fails: every call of a kind in turn.
#include <algorithm>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <functional>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "tests/bench/simulated_generator.h"
#include "tests/sweeps/evidence.h"

namespace tachproof {

#ifndef TACHPROOF_FAILING_CALLS

int sweep_failures(int) {
  fmt::print("a sanitizer does not go with a library that is loaded before it\n");
  return 0;
}
int sweep_generator_failures(int) { return sweep_failures(0); }
int sweep_supply_failures(int) { return sweep_failures(0); }

#else

namespace {

struct Kind {
  const char* call;
  int error;
  const char* lasts;  // "once" or "on"
};

struct Row {
  int calls = 0, unharmed = 0, undecided = 0, refused = 0, wrong = 0;
};

// The run as it ended, judged by what it said and what it left.
std::string wrong_with(const Finished& done, const Left& left) {
  if (!left.wrong.empty()) return left.wrong;
  if (done.status > 3) return fmt::format("ended with status {}", done.status);
  const bool said = !done.err.empty() || done.out.find("UNDECIDED") != std::string::npos;
  if (done.status != 0 && !said) return fmt::format("status {} without a sentence", done.status);
  if (done.status == 0 && left.verdict != "pass") return "status 0 and the folder says " + left.verdict;
  if (done.status == 1) return "a sound unit failed";
  return "";
}

// `left_wrong`: what else must not be when the program has ended; empty: nothing.
using LeftWrong = std::function<std::string()>;

class Sweep {
 public:
  Sweep(const SweepBench& bench, std::string rig, LeftWrong left_wrong)
      : bench_(bench), rig_(std::move(rig)), left_wrong_(std::move(left_wrong)) {}

  // Lets `most` of the kind's calls fail, evenly from the first to the last, or the middle one; 0: all of
  // them.
  Row row(const Kind& kind, int most) {
    const int calls = calls_of(kind);
    const int wanted = most == 0 ? calls : std::min(most, calls);
    Row row;
    for (int i = 0; i < wanted; ++i)
      fail(row, kind,
           wanted == calls ? i + 1
           : wanted == 1   ? (calls + 1) / 2
                           : 1 + i * (calls - 1) / (wanted - 1));
    return row;
  }

 private:
  Finished run(const Kind& kind, int at) {
    std::filesystem::remove(mark_);
    std::filesystem::remove(count_);
    for (const char* name : {"out", "history.db", "history.db-wal", "history.db-shm", "history.db-journal"})
      bench_.forget(name);
    return run_process(bench_.run_words(rig_, "out"), bench_.path(),
                       {{"LD_PRELOAD", TACHPROOF_FAILING_CALLS},
                        {"FAIL_CALL", kind.call},
                        {"FAIL_AT", std::to_string(at)},
                        {"FAIL_ON", kind.lasts},
                        {"FAIL_ERRNO", std::to_string(kind.error)},
                        {"FAIL_UNDER", bench_.path().string()},
                        {"FAIL_COUNT", count_.string()},
                        {"FAIL_MARK", mark_.string()}});
  }

  // Of an undisturbed run.
  int calls_of(const Kind& kind) {
    run(kind, 0);
    int calls = 0;
    std::ifstream(count_) >> calls;
    if (calls == 0) throw std::runtime_error(std::string("no call of the kind ") + kind.call);
    return calls;
  }

  void fail(Row& row, const Kind& kind, int at) {
    const Finished done = run(kind, at);
    if (!std::filesystem::exists(mark_)) return;  // a run in real time has not always as many
    std::string wrong = left_wrong_();
    if (wrong.empty()) wrong = wrong_with(done, bench_.look("out", true));
    ++row.calls;
    row.unharmed += done.status == 0;
    row.undecided += done.status == 3;
    row.refused += done.status == 2;
    row.wrong += !wrong.empty();
    if (!wrong.empty())
      fmt::print(stderr, "{} number {} ({}): {}\n{}{}\n", kind.call, at, kind.lasts, wrong, done.out,
                 done.err);
  }

  const SweepBench& bench_;
  std::string rig_;
  LeftWrong left_wrong_;
  std::filesystem::path mark_ = bench_.path() / "failed", count_ = bench_.path() / "calls";
};

int sweep_kinds(const SweepBench& bench, const std::string& rig, const std::vector<Kind>& kinds, int most,
                const LeftWrong& left_wrong) {
  int wrong = 0;
  fmt::print(
      "| call | error | lasts | calls that failed | pass, verified | undecided | refused | wrong |\n"
      "| --- | --- | --- | --- | --- | --- | --- | --- |\n");
  for (const Kind& kind : kinds) {
    const Row row = Sweep(bench, rig, left_wrong).row(kind, most);
    fmt::print("| {} | {} | {} | {} | {} | {} | {} | {} |\n", kind.call, strerrorname_np(kind.error),
               kind.lasts, row.calls, row.unharmed, row.undecided, row.refused, row.wrong);
    std::fflush(stdout);
    wrong += row.wrong;
  }
  return wrong;
}

}  // namespace

int sweep_failures(int most) {
  const SweepBench bench;
  return sweep_kinds(bench, "sound",
                     {{"open", EMFILE, "once"},
                      {"open", EACCES, "on"},
                      {"write", EIO, "once"},
                      {"write", ENOSPC, "on"},
                      {"sync", EIO, "once"},
                      {"sync", EIO, "on"},
                      {"rename", EIO, "once"},
                      {"rename", ENOSPC, "on"},
                      {"mkdir", ENOSPC, "on"}},
                     most, [] { return std::string(); });
}

namespace {

const std::vector<Kind> kinds_in_real_time{
    {"open", EMFILE, "on"}, {"write", ENOSPC, "on"}, {"sync", EIO, "once"}, {"rename", EIO, "once"}};

std::string left_on(const test::SimulatedGenerator& instrument, const std::string& name) {
  if (instrument.output_on()) return "the output of the " + name + " was left on";
  if (instrument.keys_locked()) return "the keys of the " + name + " were left locked";
  return "";
}

}  // namespace

int sweep_generator_failures(int most) {
  const SweepBench bench;
  test::SimulatedGenerator generator(std::make_shared<test::VirtualClock>(), {});
  bench.write_generator_rig(generator.address());
  return sweep_kinds(bench, "generator", kinds_in_real_time, most,
                     [&] { return left_on(generator, "generator"); });
}

int sweep_supply_failures(int most) {
  const SweepBench bench;
  test::SimulatedGenerator generator(std::make_shared<test::VirtualClock>(), {});
  test::SimulatedGenerator supply(std::make_shared<test::VirtualClock>(), test::power_supply_nature());
  bench.write_supply_rig(generator.address(), supply.address());
  return sweep_kinds(bench, "supply", kinds_in_real_time, most, [&] {
    const std::string wrong = left_on(generator, "generator");
    return wrong.empty() ? left_on(supply, "power supply") : wrong;
  });
}

#endif

}  // namespace tachproof
