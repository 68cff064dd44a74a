#include <cmath>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "bench/commands/camera_words.h"
#include "bench/commands/command.h"
#include "bench/commands/load.h"
#include "bench/commands/report_options.h"
#include "bench/commands/run_output.h"
#include "bench/commands/scenario_run.h"
#include "bench/files/rig_writer.h"
#include "bench/run/recording_run.h"
#include "bench/run/stop_request.h"
#include "core/judge/allowance.h"

namespace tachproof {

namespace {

class JudgeCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "judge",
        "judges a recording made elsewhere",
        "RECORDING --gauge FILE (--wiring FILE [--scenario FILE] | --regions FILE --scenario FILE "
        "[--sync ACTION] [--fps N] [--exposure-ms MS] [--readout-ms MS]) [--unit-serial TEXT] [--certificate "
        "FILE] [--out DIR] "
        "[--history FILE | --no-history] [--json]",
        "With --wiring, reads a capture of a tach signal and lamps, made by a logic analyser or by an "
        "earlier run, and judges it as a run is judged: the rpm from its tach channel, the lamps from the "
        "others. VCD, or CSV with a header, the time in seconds first and a 0/1 column for each channel; "
        "rows may be sampled or on change. Everything is asked of it: transitions, cues, blinks, and that "
        "every visited threshold is proven.\n\n"
        "With --scenario as well, the scenario is what was played while it was recorded. Its profile is laid "
        "on the rpm of the tach channel, and the lamps are judged by it as in a run: by the rpm that were "
        "played, and by what the scenario asks. A recording of something else is refused.\n\n"
        "Tach edges closer together than half a period at 20,000 rpm are contact bounce: left out, counted, "
        "and nothing is forgiven for them.\n\n"
        "With --regions and --scenario, judges a clip of a run that was filmed: a video file, or a folder of "
        "pictures with times.txt. The scenario is what was played; the bench's sync lamp in the clip tells "
        "when; without one a clip can fail and never pass. What is written is what `run` writes of a rig "
        "file with that clip.\n\n"
        "Lamps that are not wired, or have no region, are not judged. A recording that is cut short, or in "
        "which a wired channel is unknown, is undecided.",
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
  int judge_clip() const {
    if (scenario_.empty()) throw UsageError("give --scenario as well: what was played while it was filmed");
    if (camera_.regions.empty())
      throw UsageError("give --regions as well: where the clip shows the lamps; see `tachproof teach`");
    if (!std::filesystem::exists(recording_)) throw UsageError("there is no " + recording_);
    RigInput rig{recording_, "", {}, ""};
    rig.rig.source.kind = "simulated";
    rig.rig.watch.kind = "camera";
    rig.rig.watch.camera = camera_.settings();
    rig.rig.watch.camera.from = recording_;
    RigFile kept = rig.rig;  // from wherever the run folder is
    kept.watch.camera.from = std::filesystem::absolute(recording_).string();
    kept.watch.camera.regions = std::filesystem::absolute(camera_.regions).string();
    rig.text = rig_yaml(kept, "A clip that was judged by its regions.");
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
    const auto gauge = errors.collect([&] { return load_gauge(gauge_); });
    const auto wiring = errors.collect([&] { return load_wiring(wiring_); });
    const auto certificate = errors.collect([&] { return report_options_.load(); });
    const auto scenario = errors.collect([&]() -> std::optional<ScenarioFile> {
      if (scenario_.empty()) return std::nullopt;
      return load_scenario(scenario_);
    });
    errors.throw_if_any();
    std::optional<PlayedScenario> played;
    if (*scenario) played = had(**scenario);
    const OpenRecording recording = open(*wiring, *gauge, played ? &*played : nullptr);

    RunRecord record = begun(*gauge, recording);
    record.certificate = *certificate;
    RunFolder folder = report_options_.make_folder(record);
    std::vector<std::pair<std::string, std::string>> inputs{
        {"gauge.yaml", folder.keep_input(gauge_, "gauge.yaml")},
        {"wiring.yaml", folder.keep_input(wiring_, "wiring.yaml")},
        {kept_name(), folder.keep_input(recording_, kept_name())}};
    folder.journal(
        nlohmann::ordered_json{{"kind", "recording"}, {"file", recording_}, {"sha256", inputs.back().second}}
            .dump());
    if (played) inputs.emplace_back("scenario.yaml", folder.keep_input(scenario_, "scenario.yaml"));
    record.inputs.insert(record.inputs.begin(), inputs.begin(), inputs.end());

    catch_stop_signals();
    RunOutcome outcome = judge_recording(recording, folder, stop_requested);
    record.result = std::move(outcome.result);
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

  RunRecord begun(const Gauge& gauge, const OpenRecording& recording) const {
    RunRecord record = report_options_.begun(gauge, gauge_);
    record.scenario_name = std::filesystem::path(recording_).filename().string();
    record.scenario_sha256 = sha256_of_file(recording_);
    if (const PlayedScenario* played = recording.played) {
      record.scenario_name = played->scenario.name;
      record.scenario_sha256 = sha256_of_file(scenario_);
      record.seed = played->scenario.seed;
      record.extra_tolerance_rpm = noise_allowance_rpm(played->scenario.noise, gauge);
    }
    record.source = "recording";
    record.source_description = recording.played
                                    ? "the scenario's profile, laid on the channel " + recording.wiring.tach
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
