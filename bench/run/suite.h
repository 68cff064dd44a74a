// A suite: every pair of gauge and scenario, each with a run folder for every
// attempt, under one folder with suite.json, report.html and junit.xml.
//
// 1. All three say "not complete" and undecided before anything is played.
// 2. Pair by pair: attempts, each in a run folder of its own, <gauge>/<scenario>,
//    then <gauge>/<scenario>@2; suite.json is replaced after each.
// 3. All three are written for the last time.
//
// Nothing is ever overwritten: whatever is resumed, attempts of before stay.
//
// At the end SHA256SUMS is written, as a run folder's: of the suite's own files and of each run's SHA256SUMS.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "bench/record/checksums.h"
#include "bench/record/run_folder.h"
#include "core/plan/suite.h"

namespace tachproof {

struct Attempt {
  std::string folder;  // relative to the suite's; empty: the rig could not be had
  Verdict verdict = Verdict::undecided;
  bool complete = false;
  bool bench_could_not_tell = true;
  bool reused = false;                // it was there when the suite was resumed
  bool simulated = false;             // on the built-in unit
  bool stopped_at_a_flicker = false;  // --to-the-end would have held the other boundaries too; not stored
  std::string started;
  double duration_s = 0;  // of the profile that was played
  std::size_t transitions = 0;
  std::string reason;                                           // a sentence
  std::vector<std::pair<std::string, std::uint64_t>> findings;  // kind, how many
  std::string result_sha256;                                    // of its result.json
};
// What a suite keeps of a run. `folder` is relative to `suite`.
Attempt attempt_of(const RunRecord& record, const std::filesystem::path& suite, const std::string& folder);

struct SuitePair {
  // From the files' names, fit for a folder's; no two pairs have both the same.
  std::string gauge, scenario;
  std::string gauge_title, scenario_title;  // the names in the files
  std::string gauge_file, scenario_file, rig_file;
  std::vector<FileSum> inputs;  // by role: gauge, scenario, rig, unit, ...
  std::string unit_serial;
  Nanos expected = 0;  // how long it plays, at most
  int shard = 1;
  std::string skipped_because;  // a sentence; empty: it can be played
  std::vector<Attempt> attempts;
  std::vector<std::string> set_aside;  // folders of before whose inputs were others
};

struct SuiteRecord {
  std::string tool_version;
  std::string started, ended;  // ISO 8601; `ended` is empty while it goes, and after a stop
  std::string plan_sha256;     // of all pairs, whoever plays them; rigs are each bench's own
  int shards = 1;
  std::vector<int> here;  // the shards whose pairs this record answers for
  bool whole = false;     // other shards' pairs are not elsewhere but missing
  RetryPolicy retry;
  bool to_the_end = false;  // asked for; each run stores it for itself
  std::vector<SuitePair> pairs;
  std::vector<std::string> notes;
  // Why suite.json cannot be believed, from load_suite; then it is never a pass.
  std::vector<std::string> doubts = {};

  bool is_here(const SuitePair& pair) const;
  Outcome outcome(const SuitePair& pair) const;
  Verdict verdict() const;
  bool complete() const;  // it got to its end, and no pair is missing
};

// What the plan's SHA-256 is taken of: names and inputs, in order, without the
// rigs.
std::string plan_of(const SuiteRecord& record);

// Only runs that stopped at the first boundary that flickers, and the whole is wanted.
bool wants_the_rest(const SuiteRecord& record, const SuitePair& pair);

struct SuiteHooks {
  // Plays a pair into this run folder and keeps it. What it throws is an
  // undecided attempt.
  std::function<RunRecord(std::size_t pair, const std::filesystem::path& folder)> play;
  // A sentence why the suite must stop, or nothing.
  std::function<std::optional<std::string>()> stop;
  std::function<void(const SuitePair&)> settled;  // a pair of this shard
};

// Makes the folder. Throws std::runtime_error with a sentence when it is not empty; what a suite leaves that
// is killed before its suite.json is there does not count.
void make_suite_folder(const std::filesystem::path& folder);
// Plays what is not settled yet; keeps the record and the folder up to date.
void play_suite(SuiteRecord& record, const std::filesystem::path& folder, const SuiteHooks& hooks);

// Takes over from the suite in this folder what was played with the same inputs
// by the same version of the program; sets the rest aside. False: there is no
// suite yet, the folder is empty or does not exist. Throws std::runtime_error with a
// sentence when it is something else's, or of another shard.
bool resume_suite(SuiteRecord& record, const std::filesystem::path& folder);

// Reads suite.json and, for what was played, the run folders themselves: an attempt without its folder, or
// whose folder is missing, another pair's, or does not say what suite.json says, is undecided. So is the
// suite where its pairs, sums or folders contradict suite.json (`doubts`). Throws std::runtime_error with a
// sentence when it is not a suite.
SuiteRecord load_suite(const std::filesystem::path& folder);
bool is_suite(const std::filesystem::path& folder);
// Puts shards together: of one suite, each once. Folders become relative to
// `beneath`. What no shard has played is missing. Throws std::runtime_error.
SuiteRecord merged(const std::vector<std::filesystem::path>& folders, const std::filesystem::path& beneath);

// ---- reports/suite_json.cc and suite_report.cc ------------------------------

std::string suite_json(const SuiteRecord& record);     // pretty, ends in a newline
SuiteRecord suite_from_json(const std::string& text);  // throws std::runtime_error
std::string suite_html(const SuiteRecord& record);
std::string suite_junit(const SuiteRecord& record);
// The parts of what a terminal shows: before, for each pair, and after all.
std::string suite_head(const SuiteRecord& record, int width);
std::string suite_row(const SuiteRecord& record, const SuitePair& pair, int width, bool colour);
std::string suite_end(const SuiteRecord& record, int width, bool colour);

}  // namespace tachproof
