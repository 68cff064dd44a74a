#include <cstdint>
#include <filesystem>

#include "bench/commands/camera_words.h"
#include "bench/commands/command.h"
#include "bench/commands/inputs.h"
#include "bench/commands/load.h"
#include "bench/commands/report_options.h"
#include "bench/commands/run_output.h"
#include "bench/commands/scenario_run.h"
#include "bench/files/rig_writer.h"
#include "bench/record/folder_format.h"
#include "bench/rigs/factory.h"
#include "bench/run/find_causes.h"
#include "bench/run/recording_run.h"
#include "bench/run/stop_request.h"
#include "core/judge/allowance.h"

namespace tachproof {

namespace {

// What shows that a file was written to in between.
struct FileState {
  std::uintmax_t size = 0;
  std::filesystem::file_time_type written;
  bool operator==(const FileState&) const = default;
};

FileState state_of(const std::filesystem::path& file) {
  std::error_code ignored;  // whoever reads it says what is wrong with it
  return {std::filesystem::file_size(file, ignored), std::filesystem::last_write_time(file, ignored)};
}

class JudgeCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "judge",
        "judges a recording made elsewhere",
        "RECORDING --gauge FILE (--wiring FILE [--scenario FILE] | --regions FILE --scenario FILE "
        "[--sync ACTION] [--fps N] [--exposure-ms MS] [--readout-ms MS]) [--unit-serial TEXT] [--certificate "
        "FILE] [--out DIR] "
        "[--history PLACE | --no-history] [--json]",
        "With --wiring it reads a capture of a tach signal and lamps, made by a logic analyser or by an "
        "earlier run. It judges it like a run: the rpm from its tach channel, the lamps from the others. The "
        "capture is VCD, or CSV with a header, the time in seconds first and a 0/1 column for each channel; "
        "rows may be sampled or on change. All is judged: transitions, cues and blinks, and every threshold "
        "that was crossed must be proven.\n\n"
        "Give --scenario as well if a scenario was played while it was recorded. Its profile is fitted to "
        "the rpm of the tach channel. The lamps are then judged as in a run: by the rpm that was played, and "
        "by what the scenario asks. A recording of something else is refused.\n\n"
        "Tach edges closer together than half a period at 20,000 rpm are contact bounce. They are left out "
        "and counted; the lamps are judged all the same.\n\n"
        "With --regions and --scenario it judges a clip of a run that was filmed: a video file, or a folder "
        "of pictures with times.txt. The scenario is what was played. The bench's sync lamp in the clip "
        "shows when it began; without one a clip can fail but never pass. The run folder is the one that "
        "`run` writes for a rig file with that clip.\n\n"
        "Lamps that are not wired, or have no region, are not judged. A recording that is cut short, or in "
        "which a wired channel has no known level, is undecided.",
        "0  pass\n"
        "1  fail: the unit is wrong\n"
        "2  bad usage or a bad file; nothing was started\n"
        "3  undecided: the recording does not show enough",
        {"tachproof judge runs/20260131-142501-acceptance/capture.vcd --gauge "
         "fixtures/gauges/drumlin.yaml --wiring fixtures/wirings/drumlin-capture.yaml --scenario "
         "scenarios/acceptance.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.word(recording_, "RECORDING", "The VCD or CSV file, or the clip.");
    arguments.required(gauge_, "--gauge", "FILE", "The gauge file: what the unit should do.");
    arguments.option(wiring_, "--wiring", "FILE", "The wiring file: which channel shows what.");
    arguments.option(scenario_, "--scenario", "FILE", "The scenario that was played; a clip needs it.");
    arguments.option(camera_.regions, "--regions", "FILE",
                     "Of a clip: where the lamps are; from `tachproof teach`.");
    camera_.declare(arguments);
    report_options_.declare(arguments, "<recording>");
  }

  int run() override {
    if (wiring_.empty() && scenario_.empty() && camera_.regions.empty())
      throw UsageError("give --wiring for a capture, or --regions and --scenario for a clip");
    return wiring_.empty() ? judge_clip() : judge_capture();
  }

 private:
  int judge_clip() {
    if (scenario_.empty()) throw UsageError("give --scenario as well: what was played while it was filmed");
    if (camera_.regions.empty())
      throw UsageError("give --regions as well: where the clip shows the lamps; see `tachproof teach`");
    if (!std::filesystem::exists(recording_)) throw UsageError("there is no " + recording_);
    CameraSettings camera = camera_.settings();
    camera.from = recording_;
    const RigFile clip = rig_of_clip(camera);
    RigFile kept = clip;  // from wherever the run folder is
    kept.watch.camera.from = std::filesystem::absolute(recording_).string();
    kept.watch.camera.regions = std::filesystem::absolute(camera_.regions).string();
    const RigInput rig =
        rig_input(recording_, clip, rig_yaml(kept, "A clip that was judged by its regions."));
    Errors errors;
    const auto gauge = errors.collect([&] { return load_gauge_input(gauge_); });
    const auto scenario = errors.collect([&] { return load_scenario_input(scenario_); });
    errors.collect([&] { return report_options_.load(); });
    errors.throw_if_any();
    camera_.check_sync(scenario->profile, scenario_);
    const ScenarioRun run{*scenario, *gauge, rig, report_options_.serial()};
    refuse_unplayable(run);
    const PlayedRun played = play(run, report_options_, report_options_.out());
    return report_options_.close(played.folder, played.record);
  }

  int judge_capture() {
    camera_.refuse_any("a capture by --wiring");
    Errors errors;
    const auto gauge = errors.collect([&] { return load_gauge_input(gauge_); });
    const auto wiring = errors.collect([&] { return load_wiring_input(wiring_); });
    errors.collect([&] { return report_options_.load(); });
    const auto scenario = errors.collect([&]() -> std::optional<ScenarioInput> {
      if (scenario_.empty()) return std::nullopt;
      return load_scenario_input(scenario_);
    });
    errors.throw_if_any();
    std::optional<PlayedScenario> played;
    if (*scenario) played = had((*scenario)->scenario);
    const FileState before = state_of(recording_);
    OpenRecording recording = open(wiring->wiring, gauge->gauge, played ? &*played : nullptr);

    RunRecord record = begun(*gauge, recording);
    RunFolder folder = report_options_.make_folder(record);
    std::vector<std::pair<std::string, std::string>> inputs{
        kept(folder, *gauge, "gauge.yaml"),
        kept(folder, *wiring, "wiring.yaml"),
        {kept_name(), folder.keep_input(recording_, kept_name())}};
    // It is read again while it is judged: the copy, which is the one that was hashed.
    if (!(state_of(recording_) == before))
      throw UsageError(recording_ +
                       " was written to while it was read; judge it again once the recording has ended");
    recording.file = folder.path() / kept_name();
    record.scenario_sha256 = played ? (*scenario)->sha256 : inputs.back().second;
    folder.journal(recording_line(recording_, inputs.back().second));
    if (played)
      for (auto& line : kept_scenario_files(folder, **scenario)) inputs.push_back(std::move(line));
    record.inputs.insert(record.inputs.begin(), inputs.begin(), inputs.end());

    catch_stop_signals();
    EvidenceLog evidence;
    RunOutcome outcome = judge_recording(recording, folder, stop_requested, &evidence);
    record.result = std::move(outcome.result);
    find_causes(record, evidence, folder, gauge_, report_options_.accepted(record));
    folder.finish(record, outcome.trace);
    return report_options_.close(folder, record);
  }

  // Of the copy in the run folder: any name of the user's would have to be
  // kept from clashing with the other files.
  std::string kept_name() const {
    const std::string ending = std::filesystem::path(recording_).extension();
    return ending == ".vcd" || ending == ".csv" ? "recording" + ending : "recording";
  }

  static PlayedScenario had(const ScenarioFile& scenario) {
    try {
      return played_scenario(scenario);
    } catch (const std::invalid_argument& e) {
      throw UsageError(e.what());
    }
  }

  OpenRecording open(const Wiring& wiring, const Gauge& gauge, const PlayedScenario* played) const {
    try {
      return open_for_judging(recording_, wiring, gauge, played);
    } catch (const RecordingError& e) {
      throw UsageError(e.what());
    }
  }

  RunRecord begun(const GaugeInput& gauge, const OpenRecording& recording) const {
    RunRecord record = report_options_.begun(gauge);
    record.scenario_name = std::filesystem::path(recording_).filename().string();
    if (const PlayedScenario* played = recording.played) {
      record.scenario_name = played->scenario.name;
      record.seed = played->scenario.seed;
      record.extra_tolerance_rpm = noise_allowance_rpm(played->scenario.noise, gauge.gauge);
    }
    record.source = "recording";
    record.source_description = recording.played
                                    ? "the scenario's profile, fitted to the channel " + recording.wiring.tach
                                    : "rpm from the channel " + recording.wiring.tach;
    record.watch = "recording";
    record.watch_description = std::to_string(recording.wires.size()) + " channels, resolution " +
                               std::to_string(recording.resolution) + " ns";
    record.bench = recording.bench();
    return record;
  }

  std::string recording_, gauge_, wiring_, scenario_;
  CameraWords camera_;
  ReportOptions report_options_;
};

}  // namespace

std::unique_ptr<Command> make_judge_command() { return std::make_unique<JudgeCommand>(); }

}  // namespace tachproof
