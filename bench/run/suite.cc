#include "bench/run/suite.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <stdexcept>

#include "bench/record/disk.h"
#include "bench/record/record.h"
#include "bench/record/summary.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

constexpr const char* suite_file = "suite.json";

bool is_there(const fs::path& path) {
  std::error_code error;
  return fs::exists(path, error);
}

std::string folder_name(const SuitePair& pair, std::size_t number) {
  const std::string base = pair.gauge + "/" + pair.scenario;
  return number == 1 ? base : fmt::format("{}@{}", base, number);  // no name has an '@'
}

std::string free_folder(const SuitePair& pair, const fs::path& suite) {
  std::size_t number = 1;
  while (is_there(suite / folder_name(pair, number))) ++number;
  return folder_name(pair, number);
}

bool has_complete(const SuitePair& pair) {
  return std::any_of(pair.attempts.begin(), pair.attempts.end(), [](const Attempt& a) { return a.complete; });
}

Attempt failed_attempt(const std::string& why, const fs::path& suite, const std::string& folder) {
  Attempt attempt;
  if (is_there(suite / folder)) attempt.folder = folder;
  attempt.started = now_iso8601();
  attempt.reason = why;
  return attempt;
}

void replace(const fs::path& file, const std::string& text) {
  Replacement replacement(file, text);
  replacement.move_into_place();
}

void write_json(const SuiteRecord& record, const fs::path& folder) {
  replace(folder / suite_file, suite_json(record));
  sync_folder(folder);
}

void write_all(const SuiteRecord& record, const fs::path& folder) {
  replace(folder / "junit.xml", suite_junit(record));
  replace(folder / "report.html", suite_html(record));
  write_json(record, folder);
}

const std::string* sum_of(const std::vector<FileSum>& sums, const std::string& name) {
  const auto found = std::find_if(sums.begin(), sums.end(), [&](const FileSum& s) { return s.file == name; });
  return found == sums.end() ? nullptr : &found->sha256;
}

// The copies in the run folder are of these very files.
bool is_of(const RunRecord& run, const SuitePair& pair) {
  const auto same = [&](const char* role) {
    const std::string* sum = sum_of(pair.inputs, role);
    const std::string copy = std::string(role) + ".yaml";
    return std::any_of(run.inputs.begin(), run.inputs.end(),
                       [&](const auto& input) { return input.first == copy && sum && input.second == *sum; });
  };
  return same("gauge") && same("scenario") && same("rig");
}

using Names = std::pair<std::string, std::string>;
std::map<Names, const SuitePair*> by_name(const SuiteRecord& record) {
  std::map<Names, const SuitePair*> pairs;
  for (const SuitePair& pair : record.pairs) pairs[{pair.gauge, pair.scenario}] = &pair;
  return pairs;
}

// What is in the folders of this pair, with `before` as it was last known.
void take_over(SuitePair& pair, const SuitePair* before, const SuiteRecord& now, const SuiteRecord& then,
               const fs::path& suite) {
  const bool same = before != nullptr && now.tool_version == then.tool_version &&
                    before->inputs == pair.inputs && before->unit_serial == pair.unit_serial;
  const auto was_set_aside = [&](const std::string& folder) {
    return before != nullptr &&
           std::find(before->set_aside.begin(), before->set_aside.end(), folder) != before->set_aside.end();
  };
  for (std::size_t number = 1; is_there(suite / folder_name(pair, number)); ++number) {
    const std::string folder = folder_name(pair, number);
    std::optional<RunRecord> run;
    try {
      run = load_run(suite / folder).record;
    } catch (const std::runtime_error&) {
      // Made, but nothing was written yet.
    }
    if (run && same && !was_set_aside(folder) && run->tool_version == now.tool_version && is_of(*run, pair)) {
      pair.attempts.push_back(attempt_of(*run, suite, folder));
      pair.attempts.back().reused = true;
    } else {
      pair.set_aside.push_back(folder);
    }
  }
  if (!same) return;
  for (const Attempt& attempt : before->attempts)
    if (attempt.folder.empty()) pair.attempts.insert(pair.attempts.begin(), attempt);
}

SuiteRecord read_suite(const fs::path& folder) {
  try {
    return suite_from_json(whole_file(folder / suite_file));
  } catch (const std::runtime_error& e) {
    throw std::runtime_error((folder / suite_file).string() + ": " + e.what());
  }
}

// As the folder itself says; undecided where the two do not agree.
Attempt checked(const Attempt& told, const fs::path& suite) {
  if (told.folder.empty()) return told;
  Attempt attempt = told;
  std::string trouble;
  try {
    const Attempt found = attempt_of(load_run(suite / told.folder).record, suite, told.folder);
    if (found.result_sha256 == told.result_sha256 && found.verdict == told.verdict &&
        found.complete == told.complete)
      return told;
    trouble = fmt::format("{} has changed since suite.json was written", told.folder);
  } catch (const std::runtime_error& e) {
    trouble = e.what();
  }
  attempt.complete = false;
  attempt.bench_could_not_tell = true;
  if (attempt.verdict == Verdict::pass) attempt.verdict = Verdict::undecided;
  attempt.reason = trouble + ".";
  return attempt;
}

}  // namespace

Attempt attempt_of(const RunRecord& record, const fs::path& suite, const std::string& folder) {
  const RunResult& result = record.result;
  Attempt attempt;
  attempt.folder = folder;
  attempt.verdict = reported_verdict(result);
  attempt.complete = result.complete;
  attempt.bench_could_not_tell = bench_could_not_tell(result);
  attempt.simulated = on_simulated_unit(record);
  attempt.started = record.started;
  attempt.duration_s = to_seconds(result.duration);
  attempt.transitions = result.transitions.size();
  attempt.reason = reason(record);
  if (const std::string cause = in_one_line(record.causes); !cause.empty()) attempt.reason += " " + cause;
  for (const Finding& finding : result.findings) {
    const std::string kind(word(finding.kind));
    auto& kinds = attempt.findings;
    const auto found =
        std::find_if(kinds.begin(), kinds.end(), [&](const auto& k) { return k.first == kind; });
    found == kinds.end() ? static_cast<void>(kinds.emplace_back(kind, 1))
                         : static_cast<void>(++found->second);
  }
  if (is_there(suite / folder / "result.json"))
    attempt.result_sha256 = sha256_of_file(suite / folder / "result.json");
  return attempt;
}

bool SuiteRecord::is_here(const SuitePair& pair) const {
  return std::find(here.begin(), here.end(), pair.shard) != here.end();
}

Outcome SuiteRecord::outcome(const SuitePair& pair) const {
  if (!is_here(pair)) return whole ? Outcome::not_played : Outcome::elsewhere;
  if (!pair.skipped_because.empty()) return Outcome::skipped;
  std::vector<Verdict> verdicts;
  for (const Attempt& attempt : pair.attempts) verdicts.push_back(attempt.verdict);
  return outcome_of(verdicts);
}

Verdict SuiteRecord::verdict() const {
  std::vector<Outcome> outcomes;
  for (const SuitePair& pair : pairs) outcomes.push_back(outcome(pair));
  // What was stopped is no pass, even when the stop came after the last pair.
  const Verdict all = verdict_of(outcomes);
  return complete() ? all : worst(all, Verdict::undecided);
}

bool SuiteRecord::complete() const {
  const auto missing = [&](const SuitePair& pair) { return outcome(pair) == Outcome::not_played; };
  return !ended.empty() && std::none_of(pairs.begin(), pairs.end(), missing);
}

std::string plan_of(const SuiteRecord& record) {
  std::string plan = record.tool_version + "\n";
  for (const SuitePair& pair : record.pairs) {
    plan += pair.gauge + " " + pair.scenario;
    for (const FileSum& input : pair.inputs)
      if (input.file == "gauge" || input.file == "scenario" || input.file == "recording")
        plan += " " + input.sha256;
    plan += "\n";
  }
  return plan;
}

void make_suite_folder(const fs::path& folder) {
  std::error_code error;
  fs::create_directories(folder, error);
  if (error) throw std::runtime_error(fmt::format("cannot make {}: {}", folder.string(), error.message()));
  if (!fs::is_empty(folder, error) && !error)
    throw std::runtime_error(fmt::format(
        "{} is not empty; a suite writes only into a folder of its own, or goes on in it with --resume",
        folder.string()));
  if (error) throw std::runtime_error(fmt::format("cannot read {}: {}", folder.string(), error.message()));
}

void play_suite(SuiteRecord& record, const fs::path& folder, const SuiteHooks& hooks) {
  record.ended.clear();
  write_all(record, folder);
  const auto stopped = [&] { return hooks.stop && hooks.stop(); };
  for (std::size_t i = 0; i < record.pairs.size() && !stopped(); ++i) {
    SuitePair& pair = record.pairs[i];
    if (!record.is_here(pair)) continue;
    int made = has_complete(pair) ? 1 : 0;
    const auto goes_on = [&] {
      if (!pair.skipped_because.empty() || stopped()) return false;
      if (made == 0) return true;
      const Attempt& last = pair.attempts.back();
      return plays_again(last.verdict, last.bench_could_not_tell, made, record.retry);
    };
    for (; goes_on(); ++made) {
      const std::string run = free_folder(pair, folder);
      try {
        pair.attempts.push_back(attempt_of(hooks.play(i, folder / run), folder, run));
      } catch (const std::exception& e) {
        pair.attempts.push_back(failed_attempt(e.what(), folder, run));
      }
      write_json(record, folder);
    }
    if (hooks.settled) hooks.settled(pair);
  }
  if (!stopped()) record.ended = now_iso8601();
  write_all(record, folder);
}

bool resume_suite(SuiteRecord& record, const fs::path& folder) {
  std::error_code error;
  if (!is_there(folder) || fs::is_empty(folder, error)) return false;
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
    if (record.is_here(pair))
      take_over(pair, found == known.end() ? nullptr : found->second, record, before, folder);
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
  for (SuitePair& pair : record.pairs)
    for (Attempt& attempt : pair.attempts) attempt = checked(attempt, folder);
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
  }
  all.whole = true;
  std::sort(all.here.begin(), all.here.end());
  for (int shard = 1; shard <= all.shards; ++shard)
    if (std::find(all.here.begin(), all.here.end(), shard) == all.here.end())
      all.notes.push_back(fmt::format("Shard {} of {} is missing.", shard, all.shards));
  return all;
}

}  // namespace tachproof
