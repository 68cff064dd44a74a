// A suite that is in a folder: what its runs say, going on with it, putting shards together.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <stdexcept>

#include "bench/files/regular_file.h"
#include "bench/record/disk.h"
#include "bench/record/record.h"
#include "bench/run/suite.h"
#include "bench/run/suite_folders.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

using Names = std::pair<std::string, std::string>;
std::map<Names, const SuitePair*> by_name(const SuiteRecord& record) {
  std::map<Names, const SuitePair*> pairs;
  for (const SuitePair& pair : record.pairs) pairs[{pair.gauge, pair.scenario}] = &pair;
  return pairs;
}

bool holds(const std::vector<std::string>& all, const std::string& one) {
  return std::find(all.begin(), all.end(), one) != all.end();
}

// What is in the folders of this pair, with `before` as it was last known.
void take_over(SuitePair& pair, const SuitePair* before, const SuiteRecord& now, const SuiteRecord& then,
               const fs::path& suite) {
  // Of what a run folder has no copy, only the suite of before can tell whether it was the same.
  const bool same = runs_tell_all_inputs(pair) ||
                    (before != nullptr && now.tool_version == then.tool_version &&
                     before->inputs == pair.inputs && before->unit_serial == pair.unit_serial);
  const auto was_set_aside = [&](const std::string& folder) {
    return !runs_tell_all_inputs(pair) && before != nullptr && holds(before->set_aside, folder);
  };
  for (const std::string& folder : folders_of(pair, suite)) {
    std::optional<RunRecord> run;
    try {
      run = load_run(suite / folder).record;
    } catch (const std::runtime_error&) {
      // Made, but nothing was written yet.
    }
    if (run && same && pair.skipped_because.empty() && !was_set_aside(folder) &&
        is_run_of(*run, pair, now.tool_version)) {
      pair.attempts.push_back(attempt_of(*run, suite, folder));
      pair.attempts.back().reused = true;
    } else {
      pair.set_aside.push_back(folder);
    }
  }
  if (!same || before == nullptr || !pair.skipped_because.empty()) return;
  std::vector<std::string> nobody_asks;  // the pair is played again
  for (const Attempt& attempt : before->attempts)
    if (attempt.folder.empty())
      pair.attempts.insert(pair.attempts.begin(),
                           attempt_by_its_folder(attempt, pair, now.tool_version, suite, nobody_asks));
}

// A run that is gone is not evidence any more, and the record says so.
void note_the_lost(const SuitePair& before, SuiteRecord& record, const fs::path& suite) {
  for (const Attempt& attempt : before.attempts)
    if (!attempt.folder.empty() && is_folder_of(before, attempt.folder) && !is_there(suite / attempt.folder))
      record.notes.push_back(
          fmt::format("{}, which was {} when it was played, is not in the folder any more.", attempt.folder,
                      word(attempt.verdict)));
}

}  // namespace

bool resume_suite(SuiteRecord& record, const fs::path& folder) {
  std::error_code error;
  if (!is_there(folder) || fs::is_empty(folder, error)) return false;
  const fs::path part = folder / ("." + std::string(suite_file) + ".part");
  if (is_there(part) && std::distance(fs::directory_iterator(folder), {}) == 1)
    return false;  // killed at once
  if (!is_suite(folder))
    throw std::runtime_error(folder.string() + " holds no suite to resume: it has no suite.json");
  const SuiteRecord before = read_suite(folder);
  if (before.shards != record.shards || before.here != record.here)
    throw std::runtime_error(fmt::format("{} is of shard {}/{}, not of {}/{}", folder.string(),
                                         before.here.front(), before.shards, record.here.front(),
                                         record.shards));
  record.started = before.started;
  const auto known = by_name(before);
  for (SuitePair& pair : record.pairs) {
    const auto found = known.find({pair.gauge, pair.scenario});
    if (!record.is_here(pair)) continue;
    const SuitePair* const then = found == known.end() ? nullptr : found->second;
    take_over(pair, then, record, before, folder);
    if (then != nullptr) note_the_lost(*then, record, folder);
  }
  const auto wanted = by_name(record);
  for (const SuitePair& pair : before.pairs)
    if (!wanted.contains({pair.gauge, pair.scenario}) && !pair.attempts.empty())
      record.notes.push_back(
          fmt::format("{} on {} is no longer part of the suite; its runs were left in the folder.",
                      pair.scenario, pair.gauge));
  return true;
}

bool is_suite(const fs::path& folder) { return is_there(folder / suite_file); }

SuiteRecord load_suite(const fs::path& folder) {
  if (!is_suite(folder))
    throw std::runtime_error(folder.string() + " is not a suite's folder: it has no suite.json");
  SuiteRecord record = read_suite(folder);
  record.doubts = suite_doubts(record, folder);
  record.notes.insert(record.notes.begin(), record.doubts.begin(), record.doubts.end());
  for (SuitePair& pair : record.pairs)
    for (Attempt& attempt : pair.attempts)
      attempt = attempt_by_its_folder(attempt, pair, record.tool_version, folder, record.doubts);
  return record;
}

SuiteRecord merged(const std::vector<fs::path>& folders, const fs::path& beneath) {
  SuiteRecord all;
  for (const fs::path& folder : folders) {
    SuiteRecord part = load_suite(folder);
    if (&folder == &folders.front()) {
      all = part;
      all.here.clear();
      for (SuitePair& pair : all.pairs) pair.attempts.clear();
      all.notes.clear();
      all.doubts.clear();
    }
    if (part.plan_sha256 != all.plan_sha256 || part.shards != all.shards ||
        part.pairs.size() != all.pairs.size())
      throw std::runtime_error(
          fmt::format("{} and {} are not shards of one suite: their gauges, scenarios, version or number of "
                      "shards differ",
                      folders.front().string(), folder.string()));
    for (const int shard : part.here) {
      if (std::find(all.here.begin(), all.here.end(), shard) != all.here.end())
        throw std::runtime_error(fmt::format("shard {}/{} is given twice", shard, all.shards));
      all.here.push_back(shard);
    }
    const fs::path lead = fs::relative(folder, beneath);
    for (std::size_t i = 0; i < part.pairs.size(); ++i) {
      if (!part.is_here(part.pairs[i])) continue;
      for (Attempt& attempt : part.pairs[i].attempts)
        if (!attempt.folder.empty()) attempt.folder = (lead / attempt.folder).lexically_normal().string();
      for (std::string& aside : part.pairs[i].set_aside) aside = (lead / aside).lexically_normal().string();
      all.pairs[i] = std::move(part.pairs[i]);
    }
    all.started = std::min(all.started, part.started);
    all.ended = all.ended.empty() || part.ended.empty() ? "" : std::max(all.ended, part.ended);
    all.notes.insert(all.notes.end(), part.notes.begin(), part.notes.end());
    all.doubts.insert(all.doubts.end(), part.doubts.begin(), part.doubts.end());
  }
  all.whole = true;
  std::sort(all.here.begin(), all.here.end());
  for (int shard = 1; shard <= all.shards; ++shard)
    if (std::find(all.here.begin(), all.here.end(), shard) == all.here.end())
      all.notes.push_back(fmt::format("Shard {} of {} is missing.", shard, all.shards));
  return all;
}

}  // namespace tachproof
