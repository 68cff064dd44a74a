#include "bench/commands/job_run.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/commands/load.h"
#include "bench/commands/planning.h"
#include "bench/commands/run_output.h"
#include "bench/commands/terminal.h"
#include "bench/commands/version.h"
#include "bench/record/disk.h"
#include "bench/run/stop_request.h"

namespace tachproof {
namespace {

// The scenario of this part, or null: a survey.
const ScenarioInput* scenario_of(const JobInput& job, std::size_t part) {
  std::size_t before = 0;
  for (std::size_t i = 0; i < part; ++i)
    if (job.job.play[i].what == JobPlay::What::scenario) ++before;
  switch (job.job.play[part].what) {
    case JobPlay::What::scenario: return &job.scenarios[before];
    case JobPlay::What::plan: return job.plan ? &*job.plan : nullptr;
    case JobPlay::What::survey: return nullptr;
  }
  return nullptr;
}

// All that a plan comes from is in its name. A unit of its own in the rig file counts as well.
std::string kept_plan_name(const JobInput& job) {
  std::string from = job.gauge.bytes + job.rig.bytes + std::string(tool_version);
  if (!job.rig.rig.watch.unit_path.empty()) from += load_gauge_input(job.rig.rig.watch.unit_path).bytes;
  return "plan-" + sha256_of(from).substr(0, 32) + ".yaml";
}

// For the next time only: where it cannot be written the plan is made again.
void keep_plan(const std::filesystem::path& file, const std::string& text) {
  try {
    std::filesystem::create_directories(file.parent_path());
    Replacement(file, text).move_into_place();
  } catch (const std::exception&) {
  }
}

}  // namespace

JobInput load_job_input(const std::string& file) {
  JobInput input;
  input.file = file;
  input.job = load_job(file, &input.bytes);
  input.sha256 = sha256_of(input.bytes);
  Errors errors;
  if (auto gauge = errors.collect([&] { return load_gauge_input(input.job.gauge); }))
    input.gauge = std::move(*gauge);
  if (auto rig = errors.collect([&] { return load_rig_input(input.job.rig); })) input.rig = std::move(*rig);
  for (const JobPlay& play : input.job.play)
    if (play.what == JobPlay::What::scenario)
      if (auto scenario = errors.collect([&] { return load_scenario_input(play.file); }))
        input.scenarios.push_back(std::move(*scenario));
  if (!input.job.certificate.empty()) errors.collect([&] { load_certificate_input(input.job.certificate); });
  errors.throw_if_any();
  for (const ScenarioInput& scenario : input.scenarios)
    refuse_unplayable({scenario, input.gauge, input.rig, ""});
  return input;
}

void make_plan_of(JobInput& job, const std::filesystem::path& kept_in) {
  const auto wants_plan = [](const JobPlay& play) { return play.what == JobPlay::What::plan; };
  if (job.plan || std::none_of(job.job.play.begin(), job.job.play.end(), wants_plan)) return;
  const std::filesystem::path kept = kept_in.empty() ? kept_in : kept_in / kept_plan_name(job);
  if (!kept.empty() && std::filesystem::exists(kept)) {
    job.plan = load_scenario_input(kept.string());
    job.plan->file = "plan.yaml";
  } else {
    job.plan = plan_to_play(job.gauge.gauge, job.rig);
    if (!kept.empty()) keep_plan(kept, job.plan->bytes);
  }
  refuse_unplayable({*job.plan, job.gauge, job.rig, ""});
}

std::vector<std::string> names_of(const JobInput& job) {
  std::vector<std::string> names;
  for (const JobPlay& play : job.job.play) switch (play.what) {
      case JobPlay::What::scenario: names.push_back(stem(play.file)); break;
      case JobPlay::What::survey: names.emplace_back("survey"); break;
      case JobPlay::What::plan: names.emplace_back("plan"); break;
    }
  return names;
}

JobWatch at_terminal(const JobInput& job) {
  auto line = std::make_shared<std::unique_ptr<ProgressLine>>();
  JobWatch watch;
  watch.begins = [&job, line](std::size_t part, const std::string& name, const Profile* profile) {
    const std::size_t parts = job.job.play.size();
    const std::string label = parts == 1 ? "" : fmt::format("{} ({} of {}) ", name, part + 1, parts);
    *line =
        std::make_unique<ProgressLine>(job.gauge.gauge, profile != nullptr ? profile->duration() : 0, label);
    SurveyHooks hooks;
    hooks.stop = stop_requested;
    hooks.progress = [line](const RunProgress& progress) { (*line)->show(progress); };
    hooks.boundaries = [line](const RunProgress& progress, std::size_t known, std::size_t of) {
      (*line)->show(progress, boundaries_known(known, of));
    };
    hooks.ask_person = TerminalQuestions();
    return hooks;
  };
  watch.ended = [line](const PlayedRun&) { line->reset(); };
  return watch;
}

std::vector<PlayedRun> play_job(const JobInput& job, const std::string& serial, const ReportOptions& options,
                                const std::string& out, const JobWatch& watch) {
  const std::vector<std::string> names = names_of(job);
  std::string all = out;
  if (all.empty() && names.size() > 1) all = unused_run_folder(job.job.name, serial).string();
  ReportOptions with_job = options;
  with_job.also_keep("job.yaml", job.bytes);
  std::vector<PlayedRun> played;
  for (std::size_t part = 0; part < names.size(); ++part) {
    const ScenarioInput* const scenario = scenario_of(job, part);
    const std::string own =
        names.size() == 1
            ? all
            : (std::filesystem::path(all) / fmt::format("{}-{}", part + 1, fit_for_a_file_name(names[part])))
                  .string();
    const bool known_before = scenario != nullptr && !scenario->scenario.dwell;
    SurveyHooks hooks;
    if (watch.begins) hooks = watch.begins(part, names[part], known_before ? &scenario->profile : nullptr);
    played.push_back(
        scenario != nullptr
            ? play(ScenarioRun{*scenario, job.gauge, job.rig, serial}, with_job, own, hooks)
            : play(SurveyPlay{job.gauge, job.rig, job.job.play[part].within_rpm, false, std::nullopt, serial},
                   with_job, own, hooks));
    if (watch.ended) watch.ended(played.back());
    if (hooks.stop && hooks.stop()) break;
  }
  return played;
}

Verdict verdict_of(const JobInput& job, const std::vector<PlayedRun>& played) {
  Verdict verdict = played.size() < job.job.play.size() ? Verdict::undecided : Verdict::pass;
  for (const PlayedRun& one : played) verdict = worst(verdict, one.record.result.verdict);
  return verdict;
}

}  // namespace tachproof
