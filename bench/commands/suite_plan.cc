#include "bench/commands/suite_plan.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "bench/commands/load.h"
#include "bench/commands/run_output.h"
#include "bench/commands/version.h"
#include "bench/record/disk.h"
#include "bench/rigs/factory.h"

namespace tachproof {

namespace {

namespace fs = std::filesystem;

// The sound files of one kind in a folder, by name. Those of other kinds are
// passed over; a file whose kind cannot be told is an error, or a misspelt kind
// would leave out a test in silence.
std::vector<std::string> files_in(const std::string& folder, const std::string& kind, Errors& errors) {
  std::vector<std::string> names;
  for (const fs::directory_entry& entry : fs::directory_iterator(folder)) {
    const fs::path extension = entry.path().extension();
    const bool hidden = entry.path().filename().string().starts_with('.');
    if (!hidden && (extension == ".yaml" || extension == ".yml") && !entry.is_directory())
      names.push_back(entry.path().string());
  }
  const auto by_stem = [](const std::string& a, const std::string& b) {
    return std::pair(stem(a), a) < std::pair(stem(b), b);
  };
  std::sort(names.begin(), names.end(), by_stem);
  std::vector<std::string> files;
  for (const std::string& name : names) {
    CheckedFile checked = check_file(name);
    if (!checked.kind.empty() && checked.kind != kind) continue;
    if (checked.errors.empty())
      files.push_back(name);
    else
      errors.collect([&]() -> bool { throw FileErrors(std::move(checked.errors)); });
  }
  if (files.empty())
    errors.collect([&]() -> bool {
      throw FileErrors({{folder, 0, 0, "no sound " + kind + " file in it; a folder with at least one"}});
    });
  return files;
}

std::vector<std::string> files_of(const std::string& name, const std::string& kind, Errors& errors) {
  return is_folder(name) ? files_in(name, kind, errors) : std::vector{name};
}

// What a pair is called, in reports and as a folder: no dot, so that it is never
// suite.json, and no '@', which stands before an attempt's number.
std::string plain_name(const std::string& file) {
  std::string name = fit_for_a_file_name(stem(file));
  std::replace(name.begin(), name.end(), '.', '_');
  return name;
}

// Two files of one name would share a folder, and a CI server would fold them.
template <class Inputs>
void refuse_same_names(const Inputs& inputs, const char* what) {
  std::map<std::string, std::string> seen;
  for (const auto& input : inputs) {
    const auto [first, is_new] = seen.try_emplace(plain_name(input.file), input.file);
    if (is_new) continue;
    throw UsageError(first->second == input.file
                         ? fmt::format("{} is given twice", input.file)
                         : fmt::format("two {}s are called {}: {} and {}; rename one", what, first->first,
                                       first->second, input.file));
  }
}

// The place in `given` that serves the gauges of the g-th --gauge.
std::size_t place(const std::vector<std::string>& given, std::size_t g) { return given.size() == 1 ? 0 : g; }

std::vector<FileSum> sums_for(const ScenarioRun& run, const std::string& certificate_sha256) {
  std::vector<FileSum> sums = {
      {"gauge", run.gauge.sha256}, {"scenario", run.scenario.sha256}, {"rig", run.rig.sha256}};
  // Files that those name: the run rests on them too.
  const std::string& unit = run.rig.rig.watch.unit_path;
  if (!unit.empty()) sums.push_back({"unit", sha256_of_file(unit)});
  for (const NamedFile& file : run.scenario.scenario.named)
    sums.push_back({file.kept_as, sha256_of(file.bytes)});
  if (!certificate_sha256.empty()) sums.push_back({"certificate", certificate_sha256});
  return sums;
}

// Why the pair cannot be played, as it stands in an error's line or in a report.
std::string why_not(const ScenarioRun& run) {
  try {
    refuse_unplayable(run);
    const Profile& profile = run.scenario.profile;
    const auto asks = [](const Action& a) { return std::holds_alternative<Ask>(a.what); };
    const Channels watched = watched_by(run.rig.rig, run.rig.file, run.gauge.gauge);
    if (run.scenario.scenario.dwell ||
        std::any_of(profile.actions().begin(), profile.actions().end(), asks) ||
        tells_a_dark_unit(run.gauge.gauge, profile, run.scenario.scenario.noise, watched))
      return "";
    return "it never stays where that gauge must light a watched lamp, so a unit without power would pass";
  } catch (const FileErrors& e) {
    return to_line(e.errors.front());
  } catch (const UsageError& e) {
    return e.what();
  }
}

SuitePair pair_of(const ScenarioRun& run, const std::string& certificate_sha256) {
  SuitePair pair;
  pair.gauge = plain_name(run.gauge.file);
  pair.scenario = plain_name(run.scenario.file);
  pair.gauge_title = run.gauge.gauge.name;
  pair.scenario_title = run.scenario.scenario.name;
  pair.gauge_file = run.gauge.file;
  pair.scenario_file = run.scenario.file;
  pair.rig_file = run.rig.file;
  pair.inputs = sums_for(run, certificate_sha256);
  pair.unit_serial = run.unit_serial;
  pair.expected = run.longest();
  return pair;
}

void deal(SuiteRecord& record, const SuiteWords& words) {
  if (static_cast<std::size_t>(words.shards) > record.pairs.size())
    throw UsageError(fmt::format("--shard is {}/{}, but there are only {} pairs to share out", words.shard,
                                 words.shards, record.pairs.size()));
  std::vector<Nanos> durations;
  for (const SuitePair& pair : record.pairs) durations.push_back(pair.expected);
  const std::vector<int> shards = shard_of(durations, words.shards);
  for (std::size_t i = 0; i < shards.size(); ++i) record.pairs[i].shard = shards[i];
  record.shards = words.shards;
  record.here = {words.shard};
}

void refuse_or_skip(SuitePlan& plan, const SuiteWords& words) {
  std::vector<FileError> refused;
  for (std::size_t i = 0; i < plan.runs.size(); ++i) {
    SuitePair& pair = plan.record.pairs[i];
    if (!plan.record.is_here(pair)) continue;
    const std::string why = why_not(plan.runs[i]);
    if (words.skip_unplayable)
      pair.skipped_because = why;
    else if (!why.empty())
      refused.push_back({pair.scenario_file, 0, 0, "cannot be played on " + pair.gauge_file + ": " + why});
  }
  if (refused.empty()) return;
  refused.push_back({"--skip-unplayable", 0, 0, "leaves such pairs out, and says so in the reports"});
  throw FileErrors(std::move(refused));
}

// Such a rig proves that gauges differ, which is hardly what is wanted.
void note_fixed_units(SuitePlan& plan) {
  std::map<const RigInput*, std::set<const GaugeInput*>> gauges;
  for (const ScenarioRun& run : plan.runs) gauges[&run.rig].insert(&run.gauge);
  for (const auto& [rig, served] : gauges)
    if (served.size() > 1 && rig->rig.watch.unit)
      plan.record.notes.push_back(
          fmt::format("The simulated unit of {} runs {} whatever gauge it is judged as; `unit: "
                      "gauge-under-test` makes it follow the gauge.",
                      rig->file, rig->rig.watch.unit_path));
}

}  // namespace

bool is_folder(const std::string& name) {
  std::error_code error;
  return fs::is_directory(name, error);
}

namespace {

// A folder's gauge files count one by one, by name.
void refuse_wrong_serials(const SuiteWords& words, std::size_t gauges) {
  if (words.serials.size() != gauges)
    throw UsageError(fmt::format("{} --unit-serial for {} gauge file{}; give one for each, in the same order",
                                 words.serials.size(), gauges, gauges == 1 ? "" : "s"));
}

}  // namespace

void refuse_wrong_counts(const SuiteWords& words) {
  const std::size_t gauges = words.gauges.size();
  if (words.rigs.size() != 1 && words.rigs.size() != gauges)
    throw UsageError(
        fmt::format("{} --rig for {} --gauge; give one for all, or one for each in the same order",
                    words.rigs.size(), gauges));
  if (!words.serials.empty() && std::none_of(words.gauges.begin(), words.gauges.end(), is_folder))
    refuse_wrong_serials(words, gauges);
}

SuitePlan make_plan(const SuiteWords& words) {
  refuse_wrong_counts(words);
  SuitePlan plan;
  Errors errors;
  const auto load_all = [&](const std::string& name, const std::string& kind, auto load, auto& into) {
    for (const std::string& file : files_of(name, kind, errors))
      if (auto input = errors.collect([&] { return load(file); })) into.push_back(std::move(*input));
  };
  for (const std::string& name : words.scenarios)
    load_all(name, "scenario", load_scenario_input, plan.scenarios);
  std::vector<std::size_t> last_gauge;  // of each --gauge
  for (const std::string& name : words.gauges) {
    load_all(name, "gauge", load_gauge_input, plan.gauges);
    last_gauge.push_back(plan.gauges.size());
  }
  for (const std::string& file : words.rigs)
    if (auto rig = errors.collect([&] { return load_rig_input(file); })) plan.rigs.push_back(std::move(*rig));
  errors.throw_if_any();
  if (!words.serials.empty()) refuse_wrong_serials(words, plan.gauges.size());
  refuse_same_names(plan.scenarios, "scenario");
  refuse_same_names(plan.gauges, "gauge");

  for (std::size_t g = 0, gauge = 0; g < words.gauges.size(); ++g)
    for (; gauge < last_gauge[g]; ++gauge)
      for (const ScenarioInput& scenario : plan.scenarios) {
        plan.runs.push_back({scenario, plan.gauges[gauge], plan.rigs[place(words.rigs, g)],
                             words.serials.empty() ? "" : words.serials[gauge]});
        plan.record.pairs.push_back(pair_of(plan.runs.back(), words.certificate_sha256));
      }
  plan.record.tool_version = tool_version;
  plan.record.plan_sha256 = sha256_of(plan_of(plan.record));
  deal(plan.record, words);
  refuse_or_skip(plan, words);
  note_fixed_units(plan);
  return plan;
}

}  // namespace tachproof
