#include "bench/commands/scenario_run.h"

#include <fmt/format.h>

#include "bench/commands/terminal.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/rigs/factory.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "bench/run/clip_evidence.h"
#include "bench/run/dwell_run.h"
#include "bench/run/find_causes.h"
#include "bench/run/runner.h"
#include "bench/run/stop_request.h"
#include "core/judge/allowance.h"
#include "core/plan/suite.h"

namespace tachproof {

namespace {

RunRecord begun(const ScenarioRun& run, const Rig& rig, const ReportOptions& options) {
  const ScenarioFile& scenario = run.scenario.scenario;
  RunRecord record = options.begun(run.gauge);
  record.unit_serial = run.unit_serial;
  record.scenario_name = scenario.name;
  record.scenario_sha256 = run.scenario.sha256;
  record.seed = scenario.seed;
  record.extra_tolerance_rpm = noise_allowance_rpm(scenario.noise, run.gauge.gauge);
  note_rig(rig, record);
  return record;
}

PlayRequest request_of(const ScenarioRun& run) {
  const ScenarioFile& scenario = run.scenario.scenario;
  return {run.scenario.profile, run.gauge.gauge.pulses_per_rev, scenario.noise, scenario.dwell.has_value()};
}

void refuse(const ScenarioRun& run, const std::optional<std::string>& why) {
  if (why)
    throw UsageError(run.scenario.file + " cannot be played by the source of " + run.rig.file + ": " + *why);
}

// Mostly too few frames. Said before the start: the run would end undecided.
std::optional<std::string> blinks_unseen(const ScenarioRun& run, const WatcherFacts& watcher) {
  const std::optional<Nanos> phase =
      shortest_blink_phase(run.gauge.gauge, run.scenario.profile, watcher.wired);
  if (!phase || watcher.resolution < *phase) return std::nullopt;
  return fmt::format(
      "lamps blink so fast that they are lit or dark for only {:.1f} ms, and the {} times changes only to "
      "{:.1f} ms: use at least {:.1f} times as many frames a second",
      to_ms(*phase), watcher.kind, to_ms(watcher.resolution),
      static_cast<double>(watcher.resolution) / static_cast<double>(*phase));
}

}  // namespace

Nanos ScenarioRun::longest() const {
  const std::optional<Dwell>& dwell = scenario.scenario.dwell;
  return dwell ? longest_dwell(gauge.gauge, *dwell) : scenario.profile.duration();
}

void refuse_unplayable(const ScenarioRun& run) {
  watched_by(run.rig.rig, run.rig.file, run.gauge.gauge);
  for (const Action& action : run.scenario.profile.actions())
    if (const Press* press = std::get_if<Press>(&action.what);
        press && !can_press(run.rig.rig, press->action) &&
        button_named(run.gauge.gauge, press->action) == nullptr)
      throw UsageError(run.scenario.file + " presses '" + press->action + "', which the source of " +
                       run.rig.file + " cannot press; " +
                       kind_of(run.rig.rig.source).how_to_press(press->action));
  if (std::vector<FileError> errors =
          refused_supply(run.rig.rig, run.gauge.gauge, run.scenario.scenario, run.scenario.file);
      !errors.empty())
    throw FileErrors(std::move(errors));
  refuse(run, cannot_play(run.rig.rig, request_of(run)));
}

PlayedRun play(const ScenarioRun& run, const ReportOptions& options, const std::string& out,
               const std::string& label) {
  ProgressLine line(run.gauge.gauge, run.longest(), label);
  RunHooks hooks;
  hooks.stop = stop_requested;
  hooks.progress = [&](const RunProgress& progress) { line.show(progress); };
  hooks.announce = [](const std::string& sentence) {
    fmt::print(stderr, "{}\n", printable(as_sentence(sentence)));
  };
  hooks.ask_person = TerminalQuestions();
  return play(run, options, out, hooks);
}

PlayedRun play(const ScenarioRun& run, const ReportOptions& options, const std::string& out, RunHooks hooks) {
  const Gauge& gauge = run.gauge.gauge;
  const ScenarioFile& scenario = run.scenario.scenario;
  catch_stop_signals();  // before a device is touched
  Rig rig = make_rig(run.rig.rig, run.rig.file, gauge, scenario.seed);
  refuse(run, rig.source->cannot_play(request_of(run)));
  const std::optional<std::string> unseen = blinks_unseen(run, rig.watcher->facts());
  if (unseen) fmt::print(stderr, "warning: {}\n", printable(*unseen));
  RunRecord record = begun(run, rig, options);
  RunFolder folder = options.make_folder(record, out);
  auto inputs = kept_scenario_files(folder, run.scenario);
  inputs.insert(inputs.begin(), kept(folder, run.gauge, "gauge.yaml"));
  inputs.push_back(kept(folder, run.rig, "rig.yaml"));
  record.inputs.insert(record.inputs.begin(), inputs.begin(), inputs.end());

  if (const CameraSettings* camera = filmed_by(run.rig.rig))
    for (auto& file : keep_clip_evidence(folder, *camera)) record.inputs.push_back(std::move(file));

  EvidenceLog evidence;
  hooks.evidence = &evidence;
  RunOutcome outcome =
      scenario.dwell
          ? run_dwell({gauge, scenario.noise, scenario.seed, *scenario.dwell, unit_reading(gauge, {}),
                       options.to_the_end()},
                      rig, folder, hooks)
          : run_scenario({gauge, run.scenario.profile, scenario.noise, scenario.seed, scenario.judge}, rig,
                         folder, hooks);
  for (const WatcherFile& file : rig.watcher->files())
    record.inputs.emplace_back(file.name, folder.keep_text(file.text, file.name));
  record.result = std::move(outcome.result);
  if (unseen) record.result.notes.push_back(*unseen);
  if (!scenario.dwell &&
      !tells_a_dark_unit(gauge, run.scenario.profile, scenario.noise, rig.watcher->facts().wired))
    record.result.notes.emplace_back(
        "The scenario never stays where a watched lamp must be lit, so a unit without power would pass: add "
        "a hold in a window that lights a lamp.");
  find_causes(record, evidence, folder, run.gauge.file, options.accepted(record));
  folder.finish(record, outcome.trace);
  return {std::move(record), std::move(folder)};
}

}  // namespace tachproof
