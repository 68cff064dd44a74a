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
            "[--unit TEXT] [--gauge NAME] [--scenario NAME] [--since DATE] [--add] [--history FILE] [--html "
            "FILE] [--json] [RUN...]",
            "Every run is added to a history when it ends, unless --no-history is given. The history is one "
            "SQLite file; a crash does not damage it, and several benches may share it. This command lists "
            "its runs. It shows how each boundary of a unit moved over time, and how the last results of all "
            "units spread: mean, standard deviation and Cpk against the tolerance. Only complete runs of a "
            "unit with a serial number count for these.\n\nWith --add it adds the run folders named instead. "
            "For a folder that was moved, it keeps the new place.",
            "0  listed or added\n2  bad usage, no history, or no run folder",
            {"tachproof history", "tachproof history --add runs/20260131-142501-acceptance"}};
  }

  void declare(Arguments& arguments) override {
    arguments.option(filter_.unit, "--unit", "TEXT", "Only runs of the unit with this serial number.");
    arguments.option(filter_.gauge, "--gauge", "NAME", "Only runs of this gauge.");
    arguments.option(filter_.scenario, "--scenario", "NAME", "Only runs of this scenario.");
    arguments.option(filter_.since, "--since", "DATE", "Only runs begun on this day or later, YYYY-MM-DD.");
    arguments.flag(add_, "--add", "Adds the run folders.");
    arguments.option(history_, "--history", "FILE",
                     "The history. Default: $TACHPROOF_HISTORY, else ~/.local/share/tachproof/history.db.");
    arguments.option(html_, "--html", "FILE", "Draws the history as a page, into this file.");
    arguments.flag(json_, "--json", "Prints JSON.");
    arguments.optional_words(runs_, "RUN", "Run folders, for --add.");
  }

  int run() override {
    if (add_ == runs_.empty()) throw UsageError(add_ ? "RUN is missing" : "run folders are for --add");
    if (!filter_.since.empty() && !is_date(filter_.since))
      throw UsageError("--since is '" + filter_.since + "'; a date as YYYY-MM-DD, such as 2031-03-14");
    try {
      const std::filesystem::path file = history_file(history_);
      if (file.empty())
        throw UsageError("TACHPROOF_HISTORY is empty: set it to the history's file, or give --history");
      return add_ ? add(file) : list(file);
    } catch (const std::runtime_error& e) {
      throw UsageError(e.what());
    }
  }

 private:
  int add(const std::filesystem::path& file) const {
    History history(file, History::Open::make);
    for (const std::string& run : runs_) {
      const bool is_new = history.add(run);
      std::printf("%s: %s\n", printable(run).c_str(), is_new ? "added" : "was in the history already");
    }
    return exit_pass;
  }

  int list(const std::filesystem::path& file) const {
    const HistoryView view = view_of(History(file, History::Open::existing).runs(filter_));
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
  bool add_ = false;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_history_command() { return std::make_unique<HistoryCommand>(); }

}  // namespace tachproof
