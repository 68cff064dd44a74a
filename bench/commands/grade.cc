#include "bench/run/grade.h"

#include <cstdio>

#include "bench/commands/command.h"
#include "bench/commands/grading.h"
#include "bench/commands/load.h"
#include "bench/commands/output_file.h"
#include "bench/commands/terminal.h"
#include "bench/commands/units.h"
#include "bench/record/disk.h"
#include "bench/reports/grade_report.h"

namespace tachproof {
namespace {

class GradeCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "grade",
        "which faults of a unit scenarios would catch, and which escape",
        "SCENARIO... --gauge FILE [--rig FILE] [--among FILE...] [--shard I/N] [--threads N] [--json] "
        "[--html FILE]",
        "Makes a list of every single fault that a unit of this gauge could have: each boundary and anchor "
        "off by twice the tolerance, each wrong colour, lamps dark, stuck or swapped, a wrong deadband, "
        "blink, response or number of pulses per revolution, no supply, no signal, and so on. Then it "
        "simulates a unit with each of them, lets it hear each scenario, and judges it. Nothing real is "
        "played.\n\n"
        "Prints how many faults are caught, those that escape with the reason, and for each boundary the "
        "smallest shift that is noticed, upwards and downwards. Several scenarios are graded together: a "
        "fault is caught when one of them catches it. Faults that show the same whatever is played count as "
        "one; those that show nothing are left out.\n\n"
        "With --rig, what that rig knows less well than a bench in software counts as well: the steps of a "
        "signal generator, the frames of a camera, lamps that are not wired. The rig is not opened. Its "
        "simulated unit's behaviour is used, without its faults.\n\n"
        "In the JSON, \"verdict\" is what the unit with the fault gets: fail means caught, pass means that "
        "it escapes. --shard tries a share of the faults; 'tachproof grade --merge FILE...' puts the JSON of "
        "all shares together.",
        "0  done\n2  bad usage or a bad file\n3  a unit without a fault fails every scenario",
        {"tachproof grade scenarios/regression.yaml --gauge fixtures/gauges/drumlin.yaml",
         "tachproof grade scenarios/regression.yaml scenarios/response.yaml --gauge "
         "fixtures/gauges/drumlin.yaml --rig fixtures/rigs/simulated.yaml --json"}};
  }

  void declare(Arguments& arguments) override {
    arguments.words(scenarios_, "SCENARIO", "The scenario files; with --merge the JSON of all shares.");
    arguments.option(gauge_, "--gauge", "FILE", "The gauge file: what the unit should do.");
    arguments.option(rig_, "--rig", "FILE", "The rig file, for what it knows less well. It is not opened.");
    arguments.repeated(among_, "--among", "FILE",
                       "A gauge file whose settings the unit may have by mistake; one more fault each.");
    arguments.option(shard_, "--shard", "I/N", "Tries the I-th of N shares of the faults.");
    arguments.flag(merge_, "--merge", "Puts the JSON of all shares together, and prints it.");
    arguments.option(threads_, "--threads", "N", "Threads to use. Default: one for each processor.");
    arguments.flag(json_, "--json", "Prints JSON.");
    arguments.option(html_, "--html", "FILE", "Writes a page with a picture of what is noticed where.");
  }

  int run() override {
    if (merge_) return merge();
    if (gauge_.empty()) throw UsageError("--gauge is missing");
    Errors errors;
    const auto gauge = errors.collect([&] { return load_gauge(gauge_); });
    GradeAsk ask;
    for (const std::string& file : scenarios_)
      if (auto scenario = errors.collect([&] { return load_trial(file); }))
        ask.scenarios.push_back(std::move(*scenario));
    for (const std::string& file : among_)
      if (auto other = errors.collect([&] { return load_gauge(file); }))
        ask.among.emplace_back(file, std::move(*other));
    if (gauge)
      if (auto rig = errors.collect([&] { return load_model(rig_, *gauge); })) ask.rig = std::move(*rig);
    errors.throw_if_any();
    ask.threads = threads_in(threads_);
    const Share share = share_in(shard_);
    ask.shard = share.shard;
    ask.shards = share.shards;

    const Grade graded = grade(*gauge, ask);
    if (!html_.empty()) write_output(html_, grade_html(graded));
    const std::string text =
        json_ ? grade_json(graded) : grade_text(graded, static_cast<std::size_t>(columns_of(stdout)));
    std::fwrite(text.data(), 1, text.size(), stdout);
    for (const GradedScenario& scenario : graded.scenarios)
      if (scenario.sound != Verdict::fail) return exit_pass;
    return exit_undecided;
  }

 private:
  int merge() const {
    try {
      std::vector<std::string> shards;
      for (const std::string& file : scenarios_) shards.push_back(whole_file(file));
      const std::string text = merged_grade_json(shards);
      std::fwrite(text.data(), 1, text.size(), stdout);
    } catch (const std::runtime_error& e) {
      throw UsageError(e.what());
    }
    return exit_pass;
  }

  std::vector<std::string> scenarios_, among_;
  std::string gauge_, rig_, shard_, threads_, html_;
  bool json_ = false, merge_ = false;
};

}  // namespace

std::unique_ptr<Command> make_grade_command() { return std::make_unique<GradeCommand>(); }

}  // namespace tachproof
