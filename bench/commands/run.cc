
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <nlohmann/json.hpp>

#include "bench/commands/command.h"
#include "bench/commands/job_run.h"
#include "bench/commands/load.h"
#include "bench/commands/planning.h"
#include "bench/commands/run_suite.h"
#include "bench/commands/terminal.h"
#include "bench/commands/units.h"
#include "bench/record/disk.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "core/base/parse.h"

namespace tachproof {

namespace {

// All of the text, from `least` to `most`.
std::optional<int> number_in(std::string_view text, int least, int most) {
  const std::optional<int> value = parse_number<int>(text);
  return value && *value >= least && *value <= most ? value : std::nullopt;
}

class RunCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "run",
        "plays scenarios on a rig and judges the unit",
        "[JOB | [SCENARIO...] --gauge FILE... --rig FILE...] [--unit-serial TEXT...] [--certificate FILE] "
        "[--out DIR] [--history PLACE | --no-history] [--json] [--to-the-end] [--retry N "
        "[--retry-fails]] [--shard I/N] [--resume] [--skip-unplayable]",
        "Plays the scenario's rpm profile into the unit, watches its lamps, and compares what was seen with "
        "what the gauge file demands. Prints a table of verdicts and writes a run folder: result.json, "
        "report.html, junit.xml, capture.vcd, timeline.csv, journal.jsonl and copies of the three input "
        "files.\n\n"
        "A job file stands alone: it names gauge, rig, certificate and what is played. Each part has a run "
        "folder of its own. The job's verdict is the worst of its parts; a part that was not played is "
        "undecided.\n\n"
        "Without a scenario, one is planned for this gauge and rig ('tachproof plan --help') and played.\n\n"
        "A scenario with a dwell in place of a profile holds the rpm where each boundary flickers most, with "
        "the scenario's noise. How long that takes is said before it begins. A boundary is done when its "
        "rate of "
        "lamp changes is proven to be under the limit or over it. The one that should flicker most comes "
        "first, "
        "and the run ends at the first that is over.\n\n"
        "Ctrl-C switches the source off and leaves an undecided run. Questions of the scenario are asked at "
        "the terminal when the rig cannot answer them.\n\n"
        "Suites. Several scenarios or gauges, or a folder of either, make a suite, and so does any of the "
        "last five options: every gauge is played with every scenario, in a run folder of its own, "
        "DIR/<gauge>/<scenario>. DIR has suite.json, report.html and junit.xml as well. A folder stands for "
        "its .yaml and .yml files of that kind, by name; folders inside it are ignored. A bad file, or a "
        "pair that cannot be played, stops the suite before anything is started. A pair cannot be played if "
        "the rig file does not fit the gauge, or the source cannot press what the scenario presses. Nor can "
        "it if the scenario never stays where the gauge must light a lamp, because a unit without power "
        "would pass.\n\n"
        "The suite's verdict is the worst of its pairs: a fail outweighs undecided, and undecided outweighs "
        "a pass. What was not played is undecided. A pass at a later attempt counts as a pass and is marked "
        "everywhere. A pair that failed in any attempt is a fail.\n\n"
        "One --rig serves all gauges, or there is one for each --gauge, in the same order. Where one rig "
        "file of a board serves several gauges, the terminal asks for the next unit to be connected. A "
        "simulated unit follows the gauge when its rig says unit: gauge-under-test.",
        "0  pass; of a suite: all that was played\n"
        "1  fail: the unit is wrong; of a suite: any pair, whatever the others are\n"
        "2  bad usage or a bad file; nothing was started\n"
        "3  undecided: evidence is missing, or it was stopped",
        {"tachproof run scenarios/acceptance.yaml --gauge fixtures/gauges/drumlin.yaml --rig "
         "fixtures/rigs/simulated.yaml",
         "tachproof run scenarios/regression.yaml scenarios/response.yaml --gauge "
         "fixtures/gauges/drumlin.yaml --rig fixtures/rigs/simulated.yaml --retry 1",
         "tachproof run fixtures/jobs/drumlin-thorough.yaml --unit-serial DR-0417"}};
  }

  void declare(Arguments& arguments) override {
    arguments.optional_words(
        words_.scenarios, "SCENARIO",
        "The scenario file; several, or a folder, make a suite. None: the plan. In its place, one job file.");
    arguments.repeated(words_.gauges, "--gauge", "FILE",
                       "The gauge file: what the unit should do. Several, or a folder, make a suite.");
    arguments.repeated(words_.rigs, "--rig", "FILE",
                       "The rig file: what the unit is connected to. In a suite one for all gauges, or "
                       "one for each --gauge.");
    report_options_.declare(arguments, "<scenario>", &words_.serials);
    report_options_.declare_to_the_end(
        arguments,
        "A dwell goes on after a boundary that is proven to flicker, and a survey of a job with a unit that "
        "cannot be measured. Any other scenario is played to its end in any case.");
    arguments.option(retry_, "--retry", "N",
                     "Plays a pair again, up to N times, while it is undecided because of the bench: the run "
                     "was cut short, evidence was lost, nobody answered. A number too near its limit is not "
                     "played again, and a fail is final. Every attempt is kept. Default: 0.");
    arguments.flag(retry_fails_, "--retry-fails",
                   "Also plays a failed pair again, up to N times or until it passes, to find out whether "
                   "the fault is intermittent. It stays a fail.");
    arguments.option(
        shard_, "--shard", "I/N",
        "Plays the I-th of N shares, for several benches: every pair is in exactly one, the same on "
        "every machine, of about equal length. 'tachproof report DIR...' puts shares together.");
    arguments.flag(
        resume_, "--resume",
        "Goes on in DIR where a suite was stopped. Complete runs are re-used where gauge, scenario, "
        "rig, what those name, and the program are unchanged; all else is played again, into new "
        "folders. With --to-the-end a dwell that ended at a boundary that flickers is played again "
        "too. Starts the suite where there is none yet.");
    arguments.flag(
        skip_unplayable_, "--skip-unplayable",
        "Leaves out pairs that cannot be played, and says why in every report. When nothing is left "
        "the suite is undecided.");
  }

  int run() override {
    if (names_a_job()) return run_job();
    if (words_.gauges.empty()) throw UsageError("--gauge is missing");
    if (words_.rigs.empty()) throw UsageError("--rig is missing");
    if (!is_suite()) return run_one();
    if (words_.scenarios.empty())
      throw UsageError("a suite needs its scenarios; without any, one gauge is run once, by its plan");
    report_options_.load();
    words_.certificate_sha256 = report_options_.certificate_sha256();
    words_.skip_unplayable = skip_unplayable_;
    const Share share = share_in(shard_);
    words_.shard = share.shard;
    words_.shards = share.shards;
    return run_suite(words_, retry(), resume_, report_options_);
  }

 private:
  bool names_a_job() const {
    return words_.scenarios.size() == 1 && !is_folder(words_.scenarios[0]) &&
           kind_of_file(words_.scenarios[0]) == "job";
  }

  // One unit, by all that the job names.
  int run_job() {
    if (!words_.gauges.empty() || !words_.rigs.empty())
      throw UsageError(words_.scenarios[0] + " is a job and names its gauge and its rig: leave out " +
                       (words_.gauges.empty() ? "--rig" : "--gauge"));
    if (!retry_.empty() || retry_fails_ || !shard_.empty() || resume_ || skip_unplayable_)
      throw UsageError(words_.scenarios[0] +
                       " is a job: --retry, --retry-fails, --shard, --resume and "
                       "--skip-unplayable are for suites");
    if (words_.serials.size() > 1) throw UsageError("a job tests one unit: give one --unit-serial");
    JobInput job = load_job_input(words_.scenarios[0]);
    report_options_.take_certificate(job.job.certificate);
    report_options_.load();
    const std::string serial = words_.serials.empty() ? "" : words_.serials[0];
    if (const std::optional<std::string> wrong = wrong_serial(job.job, serial))
      throw UsageError("--unit-serial: " + *wrong);
    make_plan_of(job);
    const std::vector<PlayedRun> played =
        play_job(job, serial, report_options_, report_options_.out(), at_terminal(job));
    return close_job(job, played);
  }

  int close_job(const JobInput& job, const std::vector<PlayedRun>& played) const {
    const Verdict verdict = verdict_of(job, played);
    if (job.job.play.size() == 1) {
      for (const PlayedRun& one : played) return report_options_.close(one.folder, one.record);
      return exit_undecided;
    }
    std::vector<std::string> results;
    for (const PlayedRun& one : played) {
      if (!report_options_.json())
        report_options_.close(one.folder, one.record);
      else
        report_options_.add_to_history(one.folder);
      results.push_back(whole_file(one.folder.path() / "result.json"));
    }
    if (report_options_.json())
      fmt::print("{{\"job\": {}, \"verdict\": \"{}\", \"runs\": [{}]}}\n",
                 nlohmann::json(valid_utf8(job.job.name)).dump(), word(verdict), fmt::join(results, ","));
    else
      fmt::print("\n{}: {} ({} of {} parts played)\n", shouted(verdict), printable(job.job.name),
                 played.size(), job.job.play.size());
    return exit_status(verdict);
  }

  bool is_suite() const {
    return words_.scenarios.size() > 1 || words_.gauges.size() != 1 ||
           (!words_.scenarios.empty() && is_folder(words_.scenarios[0])) || is_folder(words_.gauges[0]) ||
           !retry_.empty() || retry_fails_ || !shard_.empty() || resume_ || skip_unplayable_;
  }

  int run_one() {
    refuse_wrong_counts(words_);
    Errors errors;
    const auto gauge = errors.collect([&] { return load_gauge_input(words_.gauges[0]); });
    auto scenario = words_.scenarios.empty()
                        ? std::optional<ScenarioInput>()
                        : errors.collect([&] { return load_scenario_input(words_.scenarios[0]); });
    const auto rig = errors.collect([&] { return load_rig_input(words_.rigs[0]); });
    errors.collect([&] { return report_options_.load(); });
    errors.throw_if_any();
    if (!scenario) scenario = plan_to_play(gauge->gauge, *rig);
    const ScenarioRun run{*scenario, *gauge, *rig, words_.serials.empty() ? "" : words_.serials[0]};
    refuse_unplayable(run);
    const PlayedRun played = play(run, report_options_, report_options_.out());
    return report_options_.close(played.folder, played.record);
  }

  RetryPolicy retry() const {
    if (retry_.empty()) {
      if (retry_fails_) throw UsageError("--retry-fails goes with --retry");
      return {};
    }
    if (const std::optional<int> times = number_in(retry_, 0, 100)) return {*times, retry_fails_};
    throw UsageError("--retry is '" + retry_ + "'; it must be a whole number from 0 to 100");
  }

  SuiteWords words_;
  std::string retry_, shard_;
  ReportOptions report_options_;
  bool retry_fails_ = false, resume_ = false, skip_unplayable_ = false;
};

}  // namespace

std::unique_ptr<Command> make_run_command() { return std::make_unique<RunCommand>(); }

}  // namespace tachproof
