#include <cstdio>

#include "bench/commands/command.h"
#include "bench/commands/terminal.h"
#include "bench/run/run_folder.h"

namespace tachproof {

namespace {

class ReportCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "report",
        "prints a stored run again",
        "RUN [--json]",
        "Reads a run folder, complete or cut short, and prints its table of verdicts again. The folder is "
        "not changed. Exits as the run did.",
        "0  the stored run is a pass\n1  a fail\n2  bad usage, or no run folder\n3  undecided, or cut short",
        {"tachproof report runs/20260131-142501-acceptance"}};
  }

  void declare(Arguments& arguments) override {
    arguments.word(run_, "RUN", "The run folder.");
    arguments.flag(json_, "--json", "Prints the stored result as JSON.");
  }

  int run() override {
    const RunRecord record = load();
    const std::string text =
        json_ ? result_json(record) : verdict_text(record, columns_of(stdout), wants_colour(stdout));
    std::fwrite(text.data(), 1, text.size(), stdout);
    return exit_status(record.result.verdict);
  }

 private:
  RunRecord load() const {
    try {
      return load_run(run_).record;
    } catch (const std::runtime_error& e) {
      throw UsageError(e.what());
    }
  }

  std::string run_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_report_command() { return std::make_unique<ReportCommand>(); }

}  // namespace tachproof
