#include "bench/run/suite.h"

#include <fmt/format.h>

#include <algorithm>
#include <stdexcept>

#include "bench/files/regular_file.h"
#include "bench/record/disk.h"
#include "bench/record/record.h"
#include "bench/record/summary.h"
#include "bench/run/suite_folders.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

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

void write_pages(const SuiteRecord& record, const fs::path& folder) {
  replace(folder / "junit.xml", suite_junit(record));
  replace(folder / "report.html", suite_html(record));
}

// suite.json first: a suite that is killed at once can be resumed. What the sums said of before is over.
void begin_files(const SuiteRecord& record, const fs::path& folder) {
  std::error_code none;
  fs::remove(folder / checksums_name, none);
  write_json(record, folder);
  write_pages(record, folder);
}

void end_files(const SuiteRecord& record, const fs::path& folder) {
  write_pages(record, folder);
  write_json(record, folder);
  replace(folder / checksums_name, checksums_text(sums_of(folder, suite_names(record, folder))));
  sync_folder(folder);
}

// What a suite may have left that was killed before it had its suite.json.
bool is_a_beginning(const fs::path& folder) {
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(folder, error))
    if (entry.path().filename() != "." + std::string(suite_file) + ".part") return false;
  return !error;
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
  const bool flickers = std::any_of(result.flicker.begin(), result.flicker.end(),
                                    [](const FlickerResult& row) { return row.verdict == Verdict::fail; });
  attempt.stopped_at_a_flicker = !record.to_the_end && flickers && !result.not_visited.empty();
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
  return !ended.empty() && doubts.empty() && std::none_of(pairs.begin(), pairs.end(), missing);
}

bool wants_the_rest(const SuiteRecord& record, const SuitePair& pair) {
  return record.to_the_end && has_complete(pair) &&
         std::all_of(pair.attempts.begin(), pair.attempts.end(),
                     [](const Attempt& a) { return !a.complete || a.stopped_at_a_flicker; });
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
  fs::directory_iterator(folder, error);
  if (error) throw std::runtime_error(fmt::format("cannot read {}: {}", folder.string(), error.message()));
  if (!is_a_beginning(folder))
    throw std::runtime_error(fmt::format(
        "{} is not empty; a suite writes only into a folder of its own, or goes on in it with --resume",
        folder.string()));
}

void play_suite(SuiteRecord& record, const fs::path& folder, const SuiteHooks& hooks) {
  record.ended.clear();
  begin_files(record, folder);
  const auto stopped = [&] { return hooks.stop && hooks.stop(); };
  for (std::size_t i = 0; i < record.pairs.size() && !stopped(); ++i) {
    SuitePair& pair = record.pairs[i];
    if (!record.is_here(pair)) continue;
    int made = has_complete(pair) && !wants_the_rest(record, pair) ? 1 : 0;
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
  end_files(record, folder);
}

}  // namespace tachproof
