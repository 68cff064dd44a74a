#include "bench/commands/command.h"
#include "bench/commands/load.h"
#include "bench/commands/report_options.h"
#include "bench/commands/run_output.h"
#include "bench/commands/terminal.h"
#include "bench/files/files.h"
#include "bench/rigs/factory.h"
#include "bench/rigs/unit_settings.h"
#include "bench/run/dwell_run.h"
#include "bench/run/runner.h"
#include "bench/run/stop_request.h"
#include "core/allowance.h"

namespace tachproof {

namespace {

class RunCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "run",
        "plays a scenario on a rig and judges the unit",
        "SCENARIO --gauge FILE --rig FILE [--unit-serial TEXT] [--certificate FILE] [--out DIR] [--history "
        "FILE | --no-history] [--json]",
        "Plays the scenario's rpm profile into the unit, watches its lamps, and compares what was seen with "
        "what the gauge file demands. Prints a table of verdicts and writes a run folder: result.json, "
        "report.html, junit.xml, capture.vcd, timeline.csv, journal.jsonl and copies of the three input "
        "files.\n\n"
        "A scenario with a dwell in place of a profile holds the engine where each boundary flickers most, "
        "under the scenario's noise, until the rate of lamp changes is proven to be under the limit, or over "
        "it.\n\n"
        "Ctrl-C switches the source off and leaves an undecided run. Questions of the scenario are asked at "
        "the terminal when the rig cannot answer them.",
        "0  pass\n"
        "1  fail: the unit is wrong\n"
        "2  bad usage or a bad file; nothing was started\n"
        "3  undecided: evidence is missing, or the run was stopped",
        {"tachproof run scenarios/acceptance.yaml --gauge fixtures/gauges/drumlin.yaml --rig "
         "fixtures/rigs/simulated.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.word(scenario_, "SCENARIO", "The scenario file.");
    arguments.required(gauge_, "--gauge", "FILE", "The gauge file: what the unit should do.");
    arguments.required(rig_, "--rig", "FILE", "The rig file: what the unit is connected to.");
    report_options_.declare(arguments, "<scenario>");
  }

  int run() override {
    Errors errors;
    const auto gauge = errors.collect([&] { return load_gauge(gauge_); });
    const auto scenario = errors.collect([&] { return load_scenario(scenario_); });
    const auto rig_file = errors.collect([&] { return load_rig(rig_); });
    const auto certificate = errors.collect([&] { return report_options_.load(); });
    errors.throw_if_any();
    const Profile profile = scenario->dwell ? Profile() : make_profile(*scenario, scenario_);
    Rig rig = make_rig(*rig_file, rig_, *gauge, scenario->seed);
    refuse_unknown_presses(profile, *rig.source, *rig_file);
    const PlayRequest request{profile, gauge->pulses_per_rev, scenario->noise, scenario->dwell.has_value()};
    if (const std::optional<std::string> why = rig.source->cannot_play(request))
      throw UsageError(scenario_ + " cannot be played by the source of " + rig_ + ": " + *why);

    RunRecord record = begun(*gauge, *scenario, rig);
    record.certificate = *certificate;
    RunFolder folder = report_options_.make_folder(record);
    record.inputs.insert(record.inputs.begin(),
                         {{"gauge.yaml", folder.keep_input(gauge_, "gauge.yaml")},
                          {"scenario.yaml", folder.keep_input(scenario_, "scenario.yaml")},
                          {"rig.yaml", folder.keep_input(rig_, "rig.yaml")}});

    catch_stop_signals();
    ProgressLine line(*gauge, scenario->dwell ? longest_dwell(*gauge, *scenario->dwell) : profile.duration());
    RunHooks hooks;
    hooks.stop = stop_requested;
    hooks.progress = [&](const RunProgress& progress) { line.show(progress); };
    hooks.ask_person = TerminalQuestions();
    RunOutcome outcome =
        scenario->dwell
            ? run_dwell({*gauge, scenario->noise, scenario->seed, *scenario->dwell, unit_reading(*gauge, {})},
                        rig, folder, hooks)
            : run_scenario({*gauge, profile, scenario->noise, scenario->seed, scenario->judge}, rig, folder,
                           hooks);
    line.clear();
    record.result = std::move(outcome.result);
    folder.finish(record, outcome.trace);
    return report_options_.close(folder, record);
  }

 private:
  void refuse_unknown_presses(const Profile& profile, const Source& source, const RigFile& rig) const {
    for (const Action& action : profile.actions())
      if (const Press* press = std::get_if<Press>(&action.what); press && !source.can_press(press->action))
        throw UsageError(
            scenario_ + " presses '" + press->action + "', which the source of " + rig_ + " cannot press" +
            (rig.source.kind == "board"
                 ? "; say which output does, as in `buttons: {" + press->action + ": press-1}` in its source"
             : rig.source.kind == "scpi" ? "; a signal generator has no wire to a button"
                                         : ""));
  }

  RunRecord begun(const Gauge& gauge, const ScenarioFile& scenario, const Rig& rig) const {
    RunRecord record = report_options_.begun(gauge, gauge_);
    record.scenario_name = scenario.name;
    record.scenario_sha256 = sha256_of_file(scenario_);
    record.seed = scenario.seed;
    record.extra_tolerance_rpm = noise_allowance_rpm(scenario.noise, gauge);
    note_rig(rig, record);
    return record;
  }

  std::string scenario_, gauge_, rig_;
  ReportOptions report_options_;
};

}  // namespace

std::unique_ptr<Command> make_run_command() { return std::make_unique<RunCommand>(); }

}  // namespace tachproof
