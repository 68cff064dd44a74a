#include <charconv>
#include <cmath>

#include <fmt/format.h>

#include "bench/commands/command.h"
#include "bench/commands/load.h"
#include "bench/commands/report_options.h"
#include "bench/commands/run_output.h"
#include "bench/commands/terminal.h"
#include "bench/files/files.h"
#include "bench/files/gauge_writer.h"
#include "bench/record/summary.h"
#include "bench/rigs/factory.h"
#include "bench/run/stop_request.h"
#include "bench/run/survey_run.h"
#include "core/base/text.h"
#include "core/plan/survey_scout.h"

namespace tachproof {

namespace {

class SurveyCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "survey",
        "measures every boundary to a wanted uncertainty",
        "--gauge FILE --rig FILE [--within RPM] [--unknown [--known WINDOW=RPM]] [--unit-serial TEXT] "
        "[--certificate FILE] [--out DIR] [--history FILE | --no-history] [--json]",
        "Plays a profile that reacts to what the lamps do: fast between boundaries, slow or repeated near "
        "them, both ways, at two rates or more, so that threshold and response come apart. Each boundary "
        "is measured until its expanded uncertainty (95 %) is within RPM; one for which the unit itself "
        "makes that impossible is undecided, with the reason. The profile that was played is kept as "
        "scenario.yaml in the run folder, so that the run can be judged again.\n\n"
        "Passes when every threshold is inside the gauge's tolerance by its uncertainty or more, so the "
        "risk of passing a threshold that is outside is at most 2.5 %.\n\n"
        "With --unknown the settings are not trusted: the gauge file gives lamps, tolerance, pulses per "
        "revolution and a rough range of rpm only, and what the unit really does is written to "
        "found.yaml in the run folder, a gauge file. Nothing is judged against the settings: the word is "
        "found, and such a run cannot be accepted. --known tells the rpm of one boundary, as the "
        "unit displays it or as its maker says: that gives the pulses per revolution.",
        "0  pass; with --unknown: found, everything was seen and measured; nothing is judged\n"
        "1  fail: the unit is wrong\n"
        "2  bad usage or a bad file; nothing was started\n"
        "3  undecided: evidence is missing, the survey was stopped, or the uncertainty is too large",
        {"tachproof survey --gauge fixtures/gauges/drumlin.yaml --rig fixtures/rigs/simulated.yaml",
         "tachproof survey --unknown --known on-limit=3610 --gauge fixtures/gauges/drumlin.yaml --rig "
         "fixtures/rigs/simulated.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.required(gauge_, "--gauge", "FILE", "The gauge file: what the unit should do.");
    arguments.required(rig_, "--rig", "FILE", "The rig file: what the unit is connected to.");
    arguments.option(within_, "--within", "RPM", "The wanted expanded uncertainty. Default: 1.");
    arguments.flag(unknown_, "--unknown", "Finds out what the unit does, without trusting the settings.");
    arguments.option(known_, "--known", "WINDOW=RPM",
                     "With --unknown: the rpm at which this window begins is known.");
    report_options_.declare(arguments, "survey");
  }

  int run() override {
    const double within = wanted();
    const std::optional<KnownBoundary> known = known_boundary();
    Errors errors;
    const auto gauge = errors.collect([&] { return load_gauge(gauge_); });
    const auto rig_file = errors.collect([&] { return load_rig(rig_); });
    const auto certificate = errors.collect([&] { return report_options_.load(); });
    errors.throw_if_any();
    if (known) refuse_unknown_window(*gauge, known->window);
    Rig rig = make_rig(*rig_file, rig_, *gauge, 0);

    RunRecord record = begun(*gauge, rig);
    record.certificate = *certificate;
    RunFolder folder = report_options_.make_folder(record);
    record.inputs.emplace(record.inputs.begin(), "rig.yaml", folder.keep_input(rig_, "rig.yaml"));
    if (!unknown_)
      record.inputs.emplace(record.inputs.begin(), "gauge.yaml", folder.keep_input(gauge_, "gauge.yaml"));
    EvidenceWriter writer(folder, *gauge);

    const SurveySetup setup = survey_setup_of(rig, within);

    catch_stop_signals();
    ProgressLine line(*gauge, 0);
    RunHooks hooks;
    hooks.stop = stop_requested;
    UnknownSurvey unknown(*gauge, setup);
    SurveyPlanner planner(*gauge, setup);
    hooks.progress = [&](const RunProgress& progress) {
      const std::size_t known_now = unknown_ ? unknown.known() : planner.known();
      const std::size_t of = unknown_ ? unknown.wanted() : planner.wanted();
      line.show(progress,
                of == 0 ? "looking for boundaries" : fmt::format("{} of {} boundaries known", known_now, of));
    };
    SurveyEvidence evidence = play_survey(
        [&](const SurveyView& view) { return unknown_ ? unknown.next(view) : planner.next(view); },
        gauge->pulses_per_rev, rig, &writer, hooks, wake_up(*gauge, setup.judge.wired, !unknown_));
    line.clear();

    std::vector<std::string> notes;
    if (unknown_) {
      const FoundGauge found = unknown.found(evidence.view());
      notes = found.notes;
      record.purpose = purpose_found;
      if (found.troubles.empty() && evidence.complete) {
        record.gauge = found.gauge;
        record.gauge_sha256 = keep(folder, record, "gauge.yaml", gauge_yaml(record.gauge));
        const PulsesFound pulses = pulses_per_rev_found(record.gauge, known);
        notes.push_back(pulses.sentence);
        keep(folder, record, "found.yaml", gauge_yaml(with_deadband_as_set(found, pulses.gauge, *gauge)));
      } else {
        // What was not found is not written down as if it were.
        record.inputs.emplace_back("gauge.yaml", folder.keep_input(gauge_, "gauge.yaml"));
        for (const std::string& trouble : found.troubles)
          evidence.findings.push_back({FindingKind::lost_evidence, evidence.seen_until, "", "", trouble});
        evidence.complete = false;
      }
    }
    record.scenario_sha256 =
        keep(folder, record, "scenario.yaml", scenario_yaml("survey", evidence.steps, within));
    record.result = judge_evidence(record.gauge, setup.judge, evidence, &writer);
    if (unknown_) as_findings(record.result);
    notes.push_back(
        unknown_ ? fmt::format("survey: every boundary was wanted to U <= {} rpm (95 %)", within)
                 : fmt::format("survey: every boundary was wanted to U <= {} rpm (95 %); a threshold passes "
                               "when it is inside its tolerance by U or more, so that at most 2.5 % of those "
                               "that are outside pass",
                               within));
    if (evidence.waking > 0)
      notes.push_back(fmt::format("the survey began {} after the first pulse, once the unit had answered",
                                  say_span(evidence.waking)));
    record.result.notes.insert(record.result.notes.end(), notes.begin(), notes.end());
    writer.close(evidence.seen_until);
    folder.finish(record, writer.trace());
    const int status = report_options_.close(folder, record);
    if (!tells_findings(record)) return status;
    if (!report_options_.json()) fmt::print("Found: {}\n", (folder.path() / "found.yaml").string());
    return exit_pass;
  }

 private:
  // All of the text, above 0 and up to `most`.
  static std::optional<double> rpm_in(const std::string& text, double most) {
    double rpm = 0;
    const char* const end = text.data() + text.size();
    const auto [rest, error] = std::from_chars(text.data(), end, rpm);
    if (error != std::errc{} || rest != end || !(rpm > 0 && rpm <= most)) return std::nullopt;
    return rpm;
  }

  double wanted() const {
    if (within_.empty()) return 1;
    if (const std::optional<double> rpm = rpm_in(within_, 1e3)) return *rpm;
    throw UsageError("--within is '" + within_ + "'; it must be a number of rpm above 0, at most 1000");
  }

  std::optional<KnownBoundary> known_boundary() const {
    if (known_.empty()) return std::nullopt;
    if (!unknown_) throw UsageError("--known goes with --unknown");
    const std::size_t equals = known_.rfind('=');
    if (equals != std::string::npos)
      if (const std::optional<double> rpm = rpm_in(known_.substr(equals + 1), Profile::max_rpm))
        return KnownBoundary{known_.substr(0, equals), *rpm};
    throw UsageError("--known is '" + known_ + "'; it must be a window's name, '=' and its rpm, up to 20000");
  }

  void refuse_unknown_window(const Gauge& gauge, const std::string& window) const {
    for (std::size_t b = 1; b <= gauge.boundaries(); ++b)
      if (gauge.windows[b].name == window) return;
    throw UsageError("--known names the boundary '" + window + "', which " + gauge_ + " does not have");
  }

  static std::string keep(RunFolder& folder, RunRecord& record, const std::string& as,
                          const std::string& text) {
    const std::string hash = folder.keep_text(text, as);
    record.inputs.emplace_back(as, hash);
    return hash;
  }

  RunRecord begun(const Gauge& gauge, const Rig& rig) const {
    RunRecord record = report_options_.begun(gauge, gauge_);
    record.scenario_name = "survey";
    note_rig(rig, record);
    return record;
  }

  std::string gauge_, rig_, within_, known_;
  ReportOptions report_options_;
  bool unknown_ = false;
};

}  // namespace

std::unique_ptr<Command> make_survey_command() { return std::make_unique<SurveyCommand>(); }

}  // namespace tachproof
