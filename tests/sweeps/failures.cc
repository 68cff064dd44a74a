// Runs in which one system call fails: every call of a kind in turn.
#include <cerrno>
#include <cstring>
#include <map>

#include <fmt/format.h>

#include "tests/sweeps/evidence.h"

namespace tachproof {

#ifndef TACHPROOF_FAILING_CALLS

int sweep_failures(int) {
  fmt::print("a sanitizer does not go with a library that is loaded before it\n");
  return 0;
}

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

Row sweep(const SweepBench& bench, const Kind& kind, int most) {
  Row row;
  const std::filesystem::path mark = bench.path() / "failed";
  for (int at = 1; most == 0 || at <= most; ++at) {
    std::filesystem::remove(mark);
    for (const char* name : {"history.db", "history.db-wal", "history.db-shm", "history.db-journal"})
      bench.forget(name);
    const Finished done = run_process(bench.run_words("sound", "out"), bench.path(),
                                      {{"LD_PRELOAD", TACHPROOF_FAILING_CALLS},
                                       {"FAIL_CALL", kind.call},
                                       {"FAIL_AT", std::to_string(at)},
                                       {"FAIL_ON", kind.lasts},
                                       {"FAIL_ERRNO", std::to_string(kind.error)},
                                       {"FAIL_UNDER", bench.path().string()},
                                       {"FAIL_MARK", mark.string()}});
    const bool failed = std::filesystem::exists(mark);
    if (failed) {
      const std::string wrong = wrong_with(done, bench.look("out", true));
      ++row.calls;
      row.unharmed += done.status == 0;
      row.undecided += done.status == 3;
      row.refused += done.status == 2;
      row.wrong += !wrong.empty();
      if (!wrong.empty())
        fmt::print(stderr, "{} number {} ({}): {}\n{}{}\n", kind.call, at, kind.lasts, wrong, done.out,
                   done.err);
    }
    bench.forget("out");
    if (!failed) break;
  }
  return row;
}

}  // namespace

int sweep_failures(int most) {
  const SweepBench bench;
  int wrong = 0;
  fmt::print(
      "| call | error | lasts | calls that failed | pass, verified | undecided | refused | wrong |\n"
      "| --- | --- | --- | --- | --- | --- | --- | --- |\n");
  for (const Kind& kind :
       {Kind{"open", EMFILE, "once"}, Kind{"open", EACCES, "on"}, Kind{"write", EIO, "once"},
        Kind{"write", ENOSPC, "on"}, Kind{"sync", EIO, "once"}, Kind{"sync", EIO, "on"},
        Kind{"rename", EIO, "once"}, Kind{"rename", ENOSPC, "on"}, Kind{"mkdir", ENOSPC, "on"}}) {
    const Row row = sweep(bench, kind, most);
    fmt::print("| {} | {} | {} | {} | {} | {} | {} | {} |\n", kind.call, strerrorname_np(kind.error),
               kind.lasts, row.calls, row.unharmed, row.undecided, row.refused, row.wrong);
    std::fflush(stdout);
    wrong += row.wrong;
  }
  return wrong;
}

#endif

}  // namespace tachproof
