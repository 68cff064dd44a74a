#include <fmt/format.h>

#include "bench/commands/command.h"
#include "bench/commands/load.h"
#include "bench/commands/report_options.h"
#include "bench/commands/survey_play.h"
#include "bench/commands/terminal.h"
#include "bench/files/files.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/run/stop_request.h"
#include "core/base/parse.h"

namespace tachproof {

namespace {

class SurveyCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "survey",
        "measures every boundary to a wanted uncertainty",
        "--gauge FILE --rig FILE [--within RPM] [--responses] [--unknown [--known WINDOW=RPM]] "
        "[--to-the-end] [--unit-serial TEXT] [--certificate FILE] [--out DIR] [--history PLACE | "
        "--no-history] [--json]",
        "Plays a profile that reacts to what the lamps do: fast between boundaries, slow or repeated near "
        "them, both ways. It uses two rates or more, to separate the threshold from the response. Each "
        "boundary is measured until its expanded uncertainty (95 %) is within RPM. If the unit itself makes "
        "that impossible, the boundary is undecided, with the reason. The profile that was played is kept as "
        "scenario.yaml in the run folder, so that the run can be judged again.\n\n"
        "It learns from one boundary how the unit answers and scatters. The others are then measured by "
        "holds "
        "just below and just above, where they are as they are set. Such holds tell no response: with "
        "--responses every boundary is passed in ramps, which do.\n\n"
        "Where the lamps do not change at a boundary, it finds out after the first quick passes whether the "
        "pulses per revolution, a dark lamp or two swapped wires explain it, says so, measures the other "
        "boundaries, and ends; --to-the-end looks on for minutes.\n\n"
        "It passes when every threshold is inside the gauge's tolerance by its uncertainty or more. The risk "
        "of passing a threshold that is outside is then at most 2.5 %.\n\n"
        "With --unknown the settings are not trusted. The gauge file gives only lamps, tolerance, pulses per "
        "revolution and a rough range of rpm. What the unit really does is written to found.yaml in the run "
        "folder, a gauge file. Nothing is judged against the settings: the word in place of a verdict is "
        "found, and such a run cannot be accepted. With --known you give the rpm of one boundary, as the "
        "unit displays it or as its maker states it: the pulses per revolution follow from that.",
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
    arguments.flag(responses_, "--responses",
                   "Measures the response of every boundary too. It takes half as long again.");
    arguments.flag(unknown_, "--unknown", "Finds out what the unit does, without trusting the settings.");
    arguments.option(known_, "--known", "WINDOW=RPM",
                     "With --unknown: the rpm at which this window begins is known.");
    report_options_.declare(arguments, "survey");
    report_options_.declare_to_the_end(arguments,
                                       "Looks for every boundary as long as for those of a sound unit and "
                                       "longer, whatever the first passes have shown.");
  }

  int run() override {
    const double within = wanted();
    const std::optional<KnownBoundary> known = known_boundary();
    Errors errors;
    const auto gauge_input = errors.collect([&] { return load_gauge_input(gauge_); });
    const auto rig_input = errors.collect([&] { return load_rig_input(rig_); });
    errors.collect([&] { return report_options_.load(); });
    errors.throw_if_any();
    const Gauge& gauge = gauge_input->gauge;
    if (known) refuse_unknown_window(gauge, known->window);
    ProgressLine line(gauge, 0);
    SurveyHooks hooks;
    hooks.stop = stop_requested;
    hooks.announce = [&line](const std::string& sentence) {
      line.clear();
      fmt::print(stderr, "{}\n", printable(as_sentence(sentence)));
    };
    hooks.boundaries = [&](const RunProgress& progress, std::size_t known_now, std::size_t of) {
      line.show(progress, boundaries_known(known_now, of));
    };
    const auto [record, folder] =
        play(SurveyPlay{*gauge_input, *rig_input, within, unknown_, known, {}, responses_}, report_options_,
             report_options_.out(), hooks);
    line.clear();
    const int status = report_options_.close(folder, record);
    if (!tells_findings(record)) return status;
    if (!report_options_.json()) fmt::print("Found: {}\n", (folder.path() / "found.yaml").string());
    return exit_pass;
  }

 private:
  // Above 0 and up to `most`.
  static std::optional<double> rpm_in(const std::string& text, double most) {
    const std::optional<double> rpm = parse_number<double>(text);
    return rpm && *rpm > 0 && *rpm <= most ? rpm : std::nullopt;
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

  std::string gauge_, rig_, within_, known_;
  ReportOptions report_options_;
  bool unknown_ = false, responses_ = false;
};

}  // namespace

std::unique_ptr<Command> make_survey_command() { return std::make_unique<SurveyCommand>(); }

}  // namespace tachproof
