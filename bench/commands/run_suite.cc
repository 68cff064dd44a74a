#include "bench/commands/run_suite.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <map>
#include <set>

#include "bench/commands/run_output.h"
#include "bench/commands/terminal.h"
#include "bench/record/record.h"
#include "bench/rigs/factory.h"
#include "bench/run/stop_request.h"

namespace tachproof {

namespace {

void say(const std::string& text) {
  std::fwrite(text.data(), 1, text.size(), stdout);
  std::fflush(stdout);
}

// A rig of hardware whose file serves several gauges has one place for a unit:
// somebody has to change it.
class UnitChanges {
 public:
  explicit UnitChanges(const SuitePlan& plan) {
    std::map<const RigInput*, std::set<const GaugeInput*>> gauges;
    for (std::size_t i = 0; i < plan.runs.size(); ++i)
      if (plan.record.is_here(plan.record.pairs[i]) && plan.record.pairs[i].skipped_because.empty())
        gauges[&plan.runs[i].rig].insert(&plan.runs[i].gauge);
    for (const auto& [rig, served] : gauges)
      if (served.size() > 1 && !kind_of(rig->rig.source).is_software()) shared_.insert(rig);
  }

  void refuse_when_nobody_is_there() const {
    if (shared_.empty() || (is_terminal(stdin) && is_terminal(stderr))) return;
    throw UsageError((*shared_.begin())->file +
                     " serves several gauges, and there is no terminal at which to connect the next unit; "
                     "give one --rig for each --gauge, each with its own inputs or board");
  }

  // Waits until the unit that this run is about is connected.
  void make(const ScenarioRun& run) {
    if (!shared_.contains(&run.rig) || connected_[&run.rig] == &run.gauge) return;
    Ask ask;
    ask.question =
        fmt::format("Connect the unit for {} ({}), then press Enter:", run.gauge.file, run.gauge.gauge.name);
    TerminalQuestions person;
    std::optional<Reply> reply;
    while (!reply && !stop_requested()) reply = person(ask, 200 * ns_per_ms);
    if (!reply || !reply->text) throw std::runtime_error("nobody connected the unit for " + run.gauge.file);
    connected_[&run.rig] = &run.gauge;
  }

 private:
  std::set<const RigInput*> shared_;
  std::map<const RigInput*, const GaugeInput*> connected_;
};

// "2 pairs were played before with the same files, 1 is played again": what a
// resumed suite starts from.
std::string resumed(const SuiteRecord& record) {
  std::size_t kept = 0, changed = 0, more = 0;
  for (const SuitePair& pair : record.pairs) {
    const auto complete = [](const Attempt& a) { return a.complete; };
    if (wants_the_rest(record, pair))
      ++more;
    else if (std::any_of(pair.attempts.begin(), pair.attempts.end(), complete))
      ++kept;
    else
      changed += !pair.set_aside.empty();
  }
  std::string text = fmt::format("Resumed: {} {} re-used", kept, kept == 1 ? "pair is" : "pairs are");
  if (changed > 0)
    text += fmt::format(", {} {} played again: a file, the serial number or the program has changed", changed,
                        changed == 1 ? "is" : "are");
  if (more > 0)
    text += fmt::format(
        ", {} {} played again to the end: the run before stopped at the first boundary that flickers", more,
        more == 1 ? "is" : "are");
  return text + "\n";
}

std::filesystem::path folder_for(const ReportOptions& options, bool resume) {
  if (!options.out().empty()) return options.out();
  if (resume) throw UsageError("--resume goes on in a folder: name it with --out");
  return unused_run_folder("suite", "");
}

}  // namespace

int run_suite(const SuiteWords& words, const RetryPolicy& retry, bool resume, const ReportOptions& options) {
  SuitePlan plan = make_plan(words);
  SuiteRecord& record = plan.record;
  record.retry = retry;
  record.to_the_end = options.to_the_end();
  record.started = now_iso8601();
  UnitChanges changes(plan);
  changes.refuse_when_nobody_is_there();

  const std::filesystem::path folder = folder_for(options, resume);
  bool goes_on = false;
  try {
    goes_on = resume && resume_suite(record, folder);
    if (!goes_on) make_suite_folder(folder);
  } catch (const std::runtime_error& e) {
    throw UsageError(e.what());
  }

  const int width = columns_of(stdout);
  const bool colour = wants_colour(stdout);
  const bool text = !options.json();
  if (text) say((goes_on ? resumed(record) : "") + suite_head(record, width));
  catch_stop_signals();
  SuiteHooks hooks;
  hooks.stop = stop_requested;
  hooks.play = [&](std::size_t i, const std::filesystem::path& run_folder) {
    changes.make(plan.runs[i]);
    const SuitePair& pair = record.pairs[i];
    PlayedRun played =
        play(plan.runs[i], options, run_folder.string(),
             fmt::format("{}/{} {}, {}: ", i + 1, record.pairs.size(), pair.gauge, pair.scenario));
    options.add_to_history(played.folder);
    return std::move(played.record);
  };
  hooks.settled = [&](const SuitePair& pair) {
    if (text) say(suite_row(record, pair, width, colour));
  };
  play_suite(record, folder, hooks);
  say(text ? suite_end(record, width, colour) + "Report: " + (folder / "report.html").string() + "\n"
           : suite_json(record));
  return exit_status(record.verdict());
}

}  // namespace tachproof
