#include <nlohmann/json.hpp>

#include "bench/commands/command.h"
#include "bench/commands/load.h"
#include "bench/commands/report_options.h"
#include "bench/commands/run_output.h"
#include "bench/run/recording_run.h"
#include "bench/run/stop_request.h"

namespace tachproof {

namespace {

class JudgeCommand : public Command {
 public:
  CommandHelp help() const override {
    return {"judge",
            "judges a recording made elsewhere",
            "RECORDING --gauge FILE --wiring FILE [--unit-serial TEXT] [--certificate FILE] [--out DIR] "
            "[--history FILE | --no-history] [--json]",
            "Reads a capture of a tach signal and lamps, made by a logic analyser or by an earlier run, and "
            "judges it as a run is judged: the rpm from its tach channel, the lamps from the others. VCD, or "
            "CSV with a header, the time in seconds first and a 0/1 column for each channel; rows may be "
            "sampled or on change.\n\n"
            "Lamps that are not wired are not judged. A recording that is cut short, or in which a wired "
            "channel is unknown, is undecided.",
            "0  pass\n"
            "1  fail: the unit is wrong\n"
            "2  bad usage or a bad file; nothing was started\n"
            "3  undecided: the recording does not show enough",
            {"tachproof judge runs/20260131-142501-acceptance/capture.vcd --gauge "
             "fixtures/gauges/drumlin.yaml --wiring fixtures/wirings/drumlin-capture.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.word(recording_, "RECORDING", "The VCD or CSV file.");
    arguments.required(gauge_, "--gauge", "FILE", "The gauge file: what the unit should do.");
    arguments.required(wiring_, "--wiring", "FILE", "The wiring file: which channel shows what.");
    report_options_.declare(arguments, "<recording>");
  }

  int run() override {
    Errors errors;
    const auto gauge = errors.collect([&] { return load_gauge(gauge_); });
    const auto wiring = errors.collect([&] { return load_wiring(wiring_); });
    const auto certificate = errors.collect([&] { return report_options_.load(); });
    errors.throw_if_any();
    const OpenRecording recording = open(*wiring, *gauge);

    RunRecord record = begun(*gauge, recording);
    record.certificate = *certificate;
    RunFolder folder = report_options_.make_folder(record);
    record.inputs.insert(record.inputs.begin(), {{"gauge.yaml", folder.keep_input(gauge_, "gauge.yaml")},
                                                 {"wiring.yaml", folder.keep_input(wiring_, "wiring.yaml")},
                                                 {kept_name(), folder.keep_input(recording_, kept_name())}});
    folder.journal(nlohmann::ordered_json{
        {"kind", "recording"}, {"file", recording_}, {"sha256", record.scenario_sha256}}
                       .dump());

    catch_stop_signals();
    RunOutcome outcome = judge_recording(recording, folder, stop_requested);
    record.result = std::move(outcome.result);
    folder.finish(record, outcome.trace);
    return report_options_.close(folder, record);
  }

 private:
  // Of the copy in the run folder: any name of the user's would have to be
  // kept from clashing with the other files.
  std::string kept_name() const {
    const std::string ending = std::filesystem::path(recording_).extension();
    return ending == ".vcd" || ending == ".csv" ? "recording" + ending : "recording";
  }

  OpenRecording open(const Wiring& wiring, const Gauge& gauge) const {
    try {
      return open_for_judging(recording_, wiring, gauge);
    } catch (const RecordingError& e) {
      throw UsageError(e.what());
    }
  }

  RunRecord begun(const Gauge& gauge, const OpenRecording& recording) const {
    RunRecord record = report_options_.begun(gauge, gauge_);
    record.scenario_name = std::filesystem::path(recording_).filename().string();
    record.scenario_sha256 = sha256_of_file(recording_);
    record.source = "recording";
    record.source_description = "rpm from the channel " + recording.wiring.tach;
    record.watch = "recording";
    record.watch_description = std::to_string(recording.wires.size()) + " channels, resolution " +
                               std::to_string(recording.resolution) + " ns";
    record.bench.source_tick = record.bench.watcher_resolution = recording.resolution;
    return record;
  }

  std::string recording_, gauge_, wiring_;
  ReportOptions report_options_;
};

}  // namespace

std::unique_ptr<Command> make_judge_command() { return std::make_unique<JudgeCommand>(); }

}  // namespace tachproof
