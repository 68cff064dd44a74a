#include <cstdio>

#include "bench/commands/command.h"
#include "bench/commands/output_file.h"
#include "bench/commands/report_options.h"
#include "bench/commands/terminal.h"
#include "bench/files/dates.h"
#include "bench/history/history_report.h"
#include "bench/record/record.h"
#include "bench/record/text.h"

namespace tachproof {

namespace {

class HistoryCommand : public Command {
 public:
  CommandHelp help() const override {
    return {"history",
            "lists earlier runs, the drift of units and their spread",
            "[--unit TEXT] [--gauge NAME] [--scenario NAME] [--since DATE] [--simulated] [--add] [--prepare] "
            "[--history PLACE] [--html FILE] [--json] [RUN...]",
            "Every run is added to a history when it ends, unless --no-history is given. The history is one "
            "SQLite file, or a database on a PostgreSQL server (postgresql://USER@HOST/DATABASE); a crash "
            "does not damage it, and several benches may share it. This command lists "
            "its runs. It shows how each boundary of a unit moved over time, and how the last results of all "
            "units spread: mean, standard deviation and Cpk against the tolerance. Only complete runs of a "
            "unit with a serial number count for these, and simulated ones only with --simulated.\n\nA run "
            "that a "
            "server cannot take waits in $TACHPROOF_HISTORY_QUEUE, else "
            "~/.local/state/tachproof/history-queue.db. The next command that reaches the server delivers "
            "it.\n\nWith --add it adds the run folders named instead. "
            "For a folder that was moved, it keeps the new place.",
            "0  listed or added\n2  bad usage, no history, or no run folder",
            {"tachproof history", "tachproof history --add runs/20260131-142501-acceptance"}};
  }

  void declare(Arguments& arguments) override {
    arguments.option(filter_.unit, "--unit", "TEXT", "Only runs of the unit with this serial number.");
    arguments.option(filter_.gauge, "--gauge", "NAME", "Only runs of this gauge.");
    arguments.option(filter_.scenario, "--scenario", "NAME", "Only runs of this scenario.");
    arguments.option(filter_.since, "--since", "DATE", "Only runs begun on this day or later, YYYY-MM-DD.");
    arguments.flag(simulated_, "--simulated", "Simulated units too in drift and spread.");
    arguments.flag(add_, "--add", "Adds the run folders.");
    arguments.flag(prepare_, "--prepare",
                   "Makes the history, or renews one of an older program, and lists "
                   "nothing. For the owner of a database whose other users may not.");
    arguments.option(history_, "--history", "PLACE",
                     "The history: a file or postgresql://... Default: $TACHPROOF_HISTORY, else "
                     "~/.local/share/tachproof/history.db.");
    arguments.option(html_, "--html", "FILE", "Draws the history as a page, into this file.");
    arguments.flag(json_, "--json", "Prints JSON.");
    arguments.optional_words(runs_, "RUN", "Run folders, for --add.");
  }

  int run() override {
    if (prepare_ && add_) throw UsageError("--add and --prepare are two jobs: give one");
    if (add_ == runs_.empty()) throw UsageError(add_ ? "RUN is missing" : "run folders are for --add");
    if (!filter_.since.empty() && !is_date(filter_.since))
      throw UsageError("--since is '" + filter_.since + "'; a date as YYYY-MM-DD, such as 2031-03-14");
    try {
      const HistoryPlace place = history_place(history_);
      if (place.empty())
        throw UsageError("TACHPROOF_HISTORY is empty: set it to the history's file, or give --history");
      return prepare_ ? prepare(place) : add_ ? add(place) : list(place);
    } catch (const std::runtime_error& e) {
      throw UsageError(e.what());
    }
  }

 private:
  static int prepare(const HistoryPlace& place) {
    const History history(place, History::Open::make);
    history.must_be_there();
    warn_of_waiting(history);
    std::printf("%s is ready\n", place.shown().c_str());
    return exit_pass;
  }

  int add(const HistoryPlace& place) const {
    History history(place, History::Open::make);
    for (const std::string& run : runs_) {
      const bool is_new = history.add(run);
      std::printf("%s: %s\n", printable(run).c_str(),
                  history.waits() ? "waits for the history's server"
                  : is_new        ? "added"
                                  : "was in the history already");
    }
    warn_of_waiting(history);
    return exit_pass;
  }

  int list(const HistoryPlace& place) const {
    const History history(place, History::Open::existing);
    warn_of_waiting(history);
    const HistoryView view = view_of(history.runs(filter_), simulated_);
    if (!html_.empty()) {
      write_output(html_, history_html(view, asked_for(), now_iso8601()));
    }
    const std::string text = json_ ? history_json(view) : history_text(view, columns_of(stdout));
    std::fwrite(text.data(), 1, text.size(), stdout);
    return exit_pass;
  }

  std::string asked_for() const {
    std::string text;
    const auto add_word = [&](const char* what, const std::string& value) {
      if (!value.empty()) text += (text.empty() ? "" : ", ") + std::string(what) + " " + value;
    };
    add_word("unit", filter_.unit);
    add_word("gauge", filter_.gauge);
    add_word("scenario", filter_.scenario);
    add_word("since", filter_.since);
    return text;
  }

  HistoryFilter filter_;
  std::string history_, html_;
  std::vector<std::string> runs_;
  bool simulated_ = false;
  bool add_ = false;
  bool prepare_ = false;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_history_command() { return std::make_unique<HistoryCommand>(); }

}  // namespace tachproof
