#include <fmt/format.h>

#include <cstdio>

#include "bench/commands/command.h"
#include "bench/commands/output_file.h"
#include "bench/commands/report_options.h"
#include "bench/commands/terminal.h"
#include "bench/history/history.h"
#include "bench/record/disk.h"
#include "bench/reports/comparison_report.h"

namespace tachproof {

namespace {

class CompareCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "compare",
        "says what moved between two runs, and what should have",
        "OLD NEW | --accepted SERIAL NEW [--history PLACE] [--html FILE] [--junit FILE] [--json]",
        "The settings in the two run folders say what should change; the results say what did. Each "
        "threshold, deadband, response, blink and cue gets a word: as intended, unintended, missing (it "
        "should have changed and did not), or cannot tell. Runs and surveys can be compared, of the same or "
        "of different gauge files.\n\n"
        "A row is as intended when the difference between observed and expected change, plus its U, is "
        "within the gauge's tolerance. For a response that is half of the span that is allowed, or the time "
        "between the unit's updates if that is longer. A row that cannot tell says which survey --within "
        "would decide it. Of many rows one is beyond |E_n| = 1 (ISO/IEC 17043) by chance, so a change is "
        "called unintended only further out.\n\n"
        "A unit that renews its lamps only every 50 ms shifts its response by up to 50 ms from run to run, "
        "and a threshold by up to 3 rpm at 60 rpm/s. That is no change of the unit: where both runs show "
        "that period, such rows are as intended up to twice that, and a note says so. A run that is not "
        "complete is never a pass.",
        "0  what should have changed did, and nothing else\n1  something else changed, or a change is "
        "missing\n"
        "2  bad usage, or no run folder\n3  undecided",
        {"tachproof compare runs/20260131-142501-acceptance runs/20260131-142501-acceptance"}};
  }

  void declare(Arguments& arguments) override {
    arguments.words(runs_, "RUN", "The run folders before and after the change: OLD NEW.");
    arguments.option(accepted_, "--accepted", "SERIAL",
                     "In place of OLD: the run last accepted for the unit with this serial number, or for "
                     "the gauge of this name.");
    arguments.option(
        history_, "--history", "PLACE",
        "The history, for --accepted: a file or postgresql://... Default: $TACHPROOF_HISTORY, else "
        "~/.local/share/tachproof/history.db.");
    arguments.option(html_, "--html", "FILE", "Writes the comparison as a page, with drawings.");
    arguments.option(junit_, "--junit", "FILE", "Writes the comparison as JUnit for a CI server.");
    arguments.flag(json_, "--json", "Prints JSON.");
  }

  int run() override {
    const std::size_t wanted = accepted_.empty() ? 2 : 1;
    if (runs_.size() != wanted)
      throw UsageError(accepted_.empty() ? "give two run folders: OLD NEW"
                                         : "with --accepted give one run folder: NEW");
    try {
      const ComparisonRecord record = accepted_.empty() ? compare_folders(runs_[0], "") : compare_accepted();
      save(html_, [&] { return comparison_html(record); });
      save(junit_, [&] { return comparison_junit(record); });
      const std::string text =
          json_ ? comparison_json(record.comparison) : comparison_text(record, columns_of(stdout));
      std::fwrite(text.data(), 1, text.size(), stdout);
      return exit_status(record.comparison.verdict);
    } catch (const std::runtime_error& e) {
      throw UsageError(e.what());
    }
  }

 private:
  ComparisonRecord compare_folders(const std::string& before, std::string accepted) const {
    ComparisonRecord record = comparison_of(before, load_run(before), runs_.back(), load_run(runs_.back()));
    record.accepted = std::move(accepted);
    return record;
  }

  ComparisonRecord compare_accepted() const {
    const HistoryPlace place = history_place(history_);
    if (place.empty()) throw UsageError("TACHPROOF_HISTORY is set to nothing: there is no history");
    const History history(place, History::Open::existing);
    warn_of_waiting(history);
    const auto reference = history.reference(accepted_);
    if (!reference) throw UsageError("no run was accepted for '" + accepted_ + "'");
    const std::filesystem::path result = std::filesystem::path(reference->folder) / "result.json";
    if (!std::filesystem::exists(result) || sha256_of_file(result) != reference->result_sha256)
      throw UsageError(reference->folder +
                       " no longer holds the run that was accepted; 'history --add' finds it elsewhere");
    const Acceptance& a = reference->acceptance;
    return compare_folders(reference->folder,
                           fmt::format("Accepted by {} on {}: {}", a.who, a.at.substr(0, 16), a.why));
  }

  template <class Text>
  static void save(const std::string& file, Text text) {
    if (file.empty()) return;
    write_output(file, text());
  }

  std::vector<std::string> runs_;
  std::string accepted_, history_, html_, junit_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_compare_command() { return std::make_unique<CompareCommand>(); }

}  // namespace tachproof
