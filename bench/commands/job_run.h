// A job played on one unit: for the command line and for the bench page.
#pragma once

#include <deque>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "bench/commands/scenario_run.h"
#include "bench/commands/survey_play.h"
#include "bench/files/job.h"

namespace tachproof {

// All that a job names, read once.
struct JobInput : InputFile {
  Job job;
  GaugeInput gauge;
  RigInput rig;
  std::deque<ScenarioInput> scenarios;  // one for each scenario of `job.play`, in its order
  std::optional<ScenarioInput> plan;    // where the job plays one: see `make_plan_of`
};

// Throws FileErrors with the errors of all files; UsageError where rig, gauge and scenarios do not go
// together. Nothing is opened.
JobInput load_job_input(const std::string& file);

// Makes the plan that the job plays, once; takes up to half a minute. With `kept_in`, a folder, a plan that
// was made there by this program for the same gauge and rig is read again, and a new one is kept there: a
// scenario file like any other. Throws UsageError where there is none.
void make_plan_of(JobInput& job, const std::filesystem::path& kept_in = {});

// What is played, in the order of the job: "acceptance", "survey", "plan".
std::vector<std::string> names_of(const JobInput& job);

// Whoever watches: what of the job is going on, and the hooks of the run that begins.
struct JobWatch {
  // Called before each part, `part` from 0; `profile` is null where it is not known beforehand.
  std::function<SurveyHooks(std::size_t part, const std::string& name, const Profile* profile)> begins;
  // A part's run is over and its folder closed.
  std::function<void(const PlayedRun& played)> ended;
};

// A person at the terminal.
JobWatch at_terminal(const JobInput& job);

// Plays every part of the job, each into a run folder of its own: `out` itself where there is one part,
// else out/1-acceptance, out/2-survey ... An empty `out` stands for a new name beneath runs/. A part that
// was stopped ends the job. Needs its plan made, where it plays one. Throws as play().
std::vector<PlayedRun> play_job(const JobInput& job, const std::string& serial, const ReportOptions& options,
                                const std::string& out, const JobWatch& watch);

// The worst of its parts; a part that was not played is undecided.
Verdict verdict_of(const JobInput& job, const std::vector<PlayedRun>& played);

}  // namespace tachproof
