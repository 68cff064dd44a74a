#include "bench/run/suite_folders.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <stdexcept>

#include "bench/files/own_files.h"
#include "bench/files/regular_file.h"
#include "bench/record/disk.h"
#include "bench/record/record.h"
#include "bench/record/suite_checksums.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

const std::string* sum_of(const std::vector<FileSum>& sums, const std::string& name) {
  const auto found = std::find_if(sums.begin(), sums.end(), [&](const FileSum& s) { return s.file == name; });
  return found == sums.end() ? nullptr : &found->sha256;
}

// 1 for "slow", 2 for "slow@2"; nothing for another pair's.
std::optional<std::size_t> number_of(const SuitePair& pair, std::string_view name) {
  if (name == pair.scenario) return 1;
  if (!name.starts_with(pair.scenario + "@")) return std::nullopt;
  name.remove_prefix(pair.scenario.size() + 1);
  std::size_t number = 0;
  const auto [end, error] = std::from_chars(name.data(), name.data() + name.size(), number);
  const bool whole = error == std::errc{} && end == name.data() + name.size() && name.front() != '0';
  return whole && number > 1 ? std::optional(number) : std::nullopt;
}

// The verdict is worth no more than the folder that shows it.
Attempt unproven(Attempt attempt, const std::string& why) {
  attempt.complete = false;
  attempt.bench_could_not_tell = true;
  attempt.verdict = Verdict::undecided;
  attempt.reason = why;
  return attempt;
}

// Pairs and shards are what was planned.
void doubt_the_plan(const SuiteRecord& record, std::vector<std::string>& doubts) {
  if (sha256_of(plan_of(record)) != record.plan_sha256)
    doubts.push_back(
        "suite.json does not list the pairs that were planned: plan_sha256 is of others, so pairs are "
        "missing, were added, or have other files.");
  std::vector<Nanos> durations;
  for (const SuitePair& pair : record.pairs) durations.push_back(pair.expected);
  const std::vector<int> dealt = shard_of(durations, record.shards);
  for (std::size_t i = 0; i < dealt.size(); ++i)
    if (record.pairs[i].shard != dealt[i]) {
      doubts.push_back(fmt::format("{} is said to be of shard {}, and would have been dealt to {}.",
                                   folder_name(record.pairs[i], 1), record.pairs[i].shard, dealt[i]));
      return;
    }
}

void doubt_the_pair(const SuiteRecord& record, const SuitePair& pair, const fs::path& suite,
                    std::vector<std::string>& doubts) {
  if (!pair.skipped_because.empty() && !pair.attempts.empty())
    doubts.push_back(fmt::format("{} is said to be skipped, and to have been played.", folder_name(pair, 1)));
  const auto is_attempt = [&](const std::string& folder) {
    return std::any_of(pair.attempts.begin(), pair.attempts.end(),
                       [&](const Attempt& a) { return a.folder == folder; });
  };
  for (const std::string& folder : folders_of(pair, suite)) {
    if (is_attempt(folder)) continue;
    const bool aside =
        std::find(pair.set_aside.begin(), pair.set_aside.end(), folder) != pair.set_aside.end();
    if (!aside) {
      doubts.push_back(fmt::format("{} is in the folder, and suite.json does not name it.", folder));
      continue;
    }
    if (!pair.skipped_because.empty() || !runs_tell_all_inputs(pair)) continue;
    try {
      const RunRecord run = load_run(suite / folder).record;
      if (is_run_of(run, pair, record.tool_version) && run.result.complete &&
          run.result.verdict != Verdict::pass)
        doubts.push_back(fmt::format("{} is said to be of other files, but is a run of these: {}.", folder,
                                     word(run.result.verdict)));
    } catch (const std::runtime_error&) {
      // No run: nothing that could have counted.
    }
  }
}

}  // namespace

std::string folder_name(const SuitePair& pair, std::size_t number) {
  const std::string base = pair.gauge + "/" + pair.scenario;
  return number == 1 ? base : fmt::format("{}@{}", base, number);  // no name has an '@'
}

bool is_folder_of(const SuitePair& pair, const std::string& folder) {
  const std::string lead = pair.gauge + "/";
  return folder.starts_with(lead) && number_of(pair, std::string_view(folder).substr(lead.size()));
}

std::vector<std::string> folders_of(const SuitePair& pair, const fs::path& suite) {
  std::vector<std::size_t> numbers;
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(suite / pair.gauge, error))
    if (const auto number = number_of(pair, entry.path().filename().string())) numbers.push_back(*number);
  std::sort(numbers.begin(), numbers.end());
  std::vector<std::string> folders;
  for (const std::size_t number : numbers) folders.push_back(folder_name(pair, number));
  return folders;
}

bool is_run_of(const RunRecord& run, const SuitePair& pair, const std::string& tool_version) {
  const auto same = [&](const char* role, bool must) {
    const std::string* const sum = sum_of(pair.inputs, role);
    const std::string copy = std::string(role) + ".yaml";
    const auto kept = std::find_if(run.inputs.begin(), run.inputs.end(),
                                   [&](const auto& input) { return input.first == copy; });
    if (sum == nullptr || kept == run.inputs.end())
      return !must && sum == nullptr && kept == run.inputs.end();
    return kept->second == *sum;
  };
  return same("gauge", true) && same("scenario", true) && same("rig", true) && same("certificate", false) &&
         run.unit_serial == pair.unit_serial && run.tool_version == tool_version;
}

bool runs_tell_all_inputs(const SuitePair& pair) {
  return std::all_of(pair.inputs.begin(), pair.inputs.end(), [](const FileSum& input) {
    return input.file == "gauge" || input.file == "scenario" || input.file == "rig" ||
           input.file == "certificate";
  });
}

std::vector<std::string> suite_names(const SuiteRecord& record, const fs::path& suite) {
  std::vector<std::string> names = {suite_file, "report.html", "junit.xml"};
  const auto add = [&](const std::string& folder) {
    if (folder.empty()) return;
    if (is_there(suite / folder / checksums_name)) {
      names.push_back(folder + "/" + checksums_name);
      return;
    }
    for (const char* file : {"result.json", "journal.jsonl"})
      if (is_there(suite / folder / file)) names.push_back(folder + "/" + file);
  };
  for (const SuitePair& pair : record.pairs) {
    for (const Attempt& attempt : pair.attempts) add(attempt.folder);
    for (const std::string& aside : pair.set_aside) add(aside);
  }
  return names;
}

SuiteRecord read_suite(const fs::path& folder) {
  // Here, and where the folders of the runs are. Each run's own is looked at when it is read.
  require_plain_entries(folder);
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(folder, error)) require_plain_entries(entry.path());
  try {
    return suite_from_json(whole_file(folder / suite_file));
  } catch (const std::runtime_error& e) {
    throw std::runtime_error((folder / suite_file).string() + ": " + e.what());
  }
}

Attempt attempt_by_its_folder(const Attempt& told, const SuitePair& pair, const std::string& tool_version,
                              const fs::path& suite, std::vector<std::string>& doubts) {
  const auto contradicted = [&](std::string why) {
    doubts.push_back(why);
    return unproven(told, std::move(why));
  };
  const bool tells_nothing = told.verdict == Verdict::undecided && !told.complete;
  if (told.folder.empty())
    return tells_nothing
               ? unproven(told, told.reason)
               : contradicted(fmt::format("{} is said to be {}, but there is no run folder that shows it.",
                                          folder_name(pair, 1), word(told.verdict)));
  if (!is_folder_of(pair, told.folder))
    return contradicted(fmt::format("{} is not a folder of {}.", told.folder, folder_name(pair, 1)));
  try {
    const RunRecord run = load_run(suite / told.folder).record;
    if (tells_nothing && !run.result.complete) {
      if (told.result_sha256.empty()) return unproven(told, told.reason);  // it ended otherwise than runs do
      Attempt cut_short = attempt_of(run, suite, told.folder);
      cut_short.reused = told.reused;
      return cut_short;
    }
    if (!is_run_of(run, pair, tool_version))
      return contradicted(
          fmt::format("{} is a run of another gauge, scenario, rig, certificate, unit or version "
                      "of the program than suite.json says.",
                      told.folder));
    Attempt found = attempt_of(run, suite, told.folder);
    found.reused = told.reused;
    if (found.result_sha256 == told.result_sha256 && found.verdict == told.verdict &&
        found.complete == told.complete)
      return found;
    return contradicted(fmt::format("{} has changed since suite.json was written.", told.folder));
  } catch (const std::runtime_error& e) {
    return contradicted(std::string(e.what()) + ".");
  }
}

std::vector<std::string> suite_doubts(const SuiteRecord& record, const fs::path& suite) {
  std::vector<std::string> doubts;
  doubt_the_plan(record, doubts);
  if (record.ended.empty()) return doubts;  // killed between two steps; undecided in any case
  for (const SuitePair& pair : record.pairs)
    if (record.is_here(pair))
      doubt_the_pair(record, pair, suite, doubts);
    else if (!pair.attempts.empty() || !folders_of(pair, suite).empty())
      doubts.push_back(
          fmt::format("{} is said to be another shard's, but was played here.", folder_name(pair, 1)));
  try {
    for (const FileSum& sum : parse_suite_checksums(whole_file(suite / checksums_name)))
      if (sum.file == suite_file && sum.sha256 != sha256_of_file(suite / suite_file))
        doubts.emplace_back("suite.json is not as the suite left it.");
  } catch (const std::runtime_error& e) {
    doubts.push_back(fmt::format("{} of the suite cannot be read: {}.", checksums_name, e.what()));
  }
  return doubts;
}

}  // namespace tachproof
