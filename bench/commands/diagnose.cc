#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "bench/commands/accepted_settings.h"
#include "bench/commands/command.h"
#include "bench/commands/load.h"
#include "bench/commands/output_file.h"
#include "bench/commands/report_options.h"
#include "bench/commands/terminal.h"
#include "bench/files/files.h"
#include "bench/record/causes_json.h"
#include "bench/record/text.h"
#include "bench/reports/causes_report.h"
#include "bench/run/diagnose.h"
#include "bench/run/judge_again.h"

namespace tachproof {

namespace {

class DiagnoseCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "diagnose",
        "names the causes of a failed run",
        "RUN... [--among GAUGE...] [--next FILE] [--history PLACE | --no-history] [--json]",
        "Reads a run folder and looks for the change of settings, unit or wiring that explains what was "
        "found: one change, or two where one does not do. For each candidate the stored evidence is judged "
        "again with that change made. A cause counts by the findings that are gone: explains 34 of 34. The "
        "most likely cause comes first, with what to do next. The folder is not changed.\n\n"
        "With --among, gauge files are candidates too: \"behaves exactly as drumlin-old.yaml says\". So are "
        "the gauge files that the run has kept, and the settings of the unit's accepted run (see `accept`), "
        "where the run has a unit's serial number and the history knows it.\n\n"
        "Causes that this evidence does not tell apart are listed together. --next writes the scenario that "
        "does. Play it on the same unit, and give both runs: their evidence counts together.\n\n"
        "A run that passes has no cause. Of an undecided run it says what the evidence lacks and how to get "
        "it.\n\n"
        "`run`, `judge` and `survey` do the same by themselves when they fail, with the gauge files beside "
        "the one in use as candidates. Those that tell most are kept in the run folder.",
        "0  every run is a pass: there is nothing to explain\n"
        "1  a run failed\n"
        "2  bad usage, or no run folder\n"
        "3  a run is undecided, and none failed",
        {"tachproof diagnose runs/20260131-142501-acceptance",
         "tachproof diagnose runs/20260131-142501-acceptance --among fixtures/gauges/drumlin-raised.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.words(folders_, "RUN", "The run folder; or several runs of one unit with the same gauge file.");
    arguments.repeated(among_, "--among", "GAUGE", "A gauge file that the unit may run instead.");
    arguments.option(next_, "--next", "FILE",
                     "Writes the scenario that tells the causes apart into this file.");
    arguments.option(history_, "--history", "PLACE",
                     "The history that knows the unit's accepted run: a file or postgresql://... Default: "
                     "$TACHPROOF_HISTORY, else "
                     "~/.local/share/tachproof/history.db.");
    arguments.flag(no_history_, "--no-history", "Looks into no history.");
    arguments.flag(json_, "--json", "Prints the causes as JSON.");
  }

  int run() override {
    Errors errors;
    std::vector<OtherGauge> others;
    for (const std::string& file : among_) {
      const auto gauge = errors.collect([&] { return load_gauge(file); });
      if (gauge) others.push_back({std::filesystem::path(file).filename().string(), *gauge});
    }
    errors.throw_if_any();
    const StoredDiagnosis found = stored(others);
    if (json_)
      print_json(found.diagnosis.causes);
    else
      print_text(found);
    if (!next_.empty()) write_next(found);
    return exit_status(found.verdict);
  }

 private:
  StoredDiagnosis stored(const std::vector<OtherGauge>& others) const {
    try {
      std::vector<OtherGauge> all = others;
      add_accepted(all);
      return diagnose_folders({folders_.begin(), folders_.end()}, all);
    } catch (const FileErrors&) {
      throw;
    } catch (const std::runtime_error& e) {
      throw UsageError(e.what());
    }
  }

  // The settings of the unit's accepted run come first: of equal ones they say most.
  void add_accepted(std::vector<OtherGauge>& others) const {
    if (no_history_) return;
    AcceptedGauge accepted = accepted_settings(history_place(history_), load_run(folders_.front()).record);
    if (!accepted.gone.empty()) fmt::print(stderr, "{}\n", printable(accepted.gone));
    if (accepted.gauge) others.insert(others.begin(), std::move(accepted.gauge->other));
  }

  static void print_json(const Causes& causes) {
    Json json = {{"causes", Json::array()}, {"told_apart", causes.told_apart}};
    causes_into_json(causes, json);
    fmt::print("{}\n", json_text(json, 2));
  }

  static void print_text(const StoredDiagnosis& found) {
    const std::string text = causes_text(found.diagnosis.causes, columns_of(stdout));
    if (!text.empty())
      fmt::print("{}", text.substr(text.front() == '\n' ? 1 : 0));
    else
      fmt::print("{}\n", found.verdict == Verdict::pass ? "The run passes: there is nothing to explain."
                                                        : "There is no cause to name.");
  }

  void write_next(const StoredDiagnosis& found) const {
    if (found.diagnosis.causes.told_apart) {
      fmt::print(stderr, "{}: not written, since there are no causes to tell apart\n", next_);
      return;
    }
    const std::string text = next_scenario(found.gauge, found.diagnosis);
    if (text.empty()) {
      fmt::print(stderr,
                 "{}: not written, since no rpm tells these causes apart: change the part and run again\n",
                 next_);
      return;
    }
    write_output(next_, text);
    if (!json_) fmt::print("Next: {}\n", next_);
  }

  std::vector<std::string> folders_, among_;
  std::string next_, history_;
  bool no_history_ = false, json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_diagnose_command() { return std::make_unique<DiagnoseCommand>(); }

}  // namespace tachproof
