#include <fmt/format.h>

#include <cstdio>

#include "bench/commands/command.h"
#include "bench/commands/report_options.h"
#include "bench/commands/verifying.h"
#include "bench/history/history.h"
#include "bench/record/record.h"
#include "bench/record/run_folder.h"
#include "bench/record/text.h"

namespace tachproof {

namespace {

class AcceptCommand : public Command {
 public:
  CommandHelp help() const override {
    return {"accept",
            "makes a run the reference for its unit",
            "RUN --by NAME --why TEXT [--even-so] [--history PLACE]",
            "Marks this run in the history as the reference for its unit. Where the unit has no serial "
            "number, it is the reference for its gauge. The history keeps who accepted it, when and why. "
            "compare --accepted takes the last one accepted. The run is verified first, as report --verify "
            "does: a run that is not complete, was changed since, or says what its evidence does not, is "
            "refused. "
            "A fail or undecided run is refused unless --even-so is given.",
            "0  accepted\n2  bad usage, no run folder, or a run that is refused",
            {"tachproof accept runs/20260131-142501-acceptance --by Corrie --why first-article"}};
  }

  void declare(Arguments& arguments) override {
    arguments.word(run_, "RUN", "The run folder.");
    arguments.required(who_, "--by", "NAME", "Who accepts it.");
    arguments.required(why_, "--why", "TEXT", "Why it is the reference.");
    arguments.flag(even_so_, "--even-so", "Accepts a run that is a fail or undecided.");
    arguments.option(history_, "--history", "PLACE",
                     "The history: a file or postgresql://... Default: $TACHPROOF_HISTORY, else "
                     "~/.local/share/tachproof/history.db.");
  }

  int run() override {
    if (who_.empty() || why_.empty()) throw UsageError("--by and --why must not be empty");
    try {
      const HistoryPlace place = history_place(history_);
      if (place.empty())
        throw UsageError("TACHPROOF_HISTORY is empty: set it to the history's file, or give --history");
      const RunRecord record = load_run(run_).record;
      if (record.purpose == purpose_found)
        throw UsageError(run_ +
                         " says only what the unit does; nothing was judged, so it cannot be the reference. "
                         "Survey the unit without --unknown and accept that run");
      refuse_unless_fit(record.result);
      refuse_unless_verified();
      History history(place, History::Open::make);
      history.accept(run_, {now_iso8601(), who_, why_});
      warn_of_waiting(history);
      const std::string of =
          record.unit_serial.empty() ? "gauge " + record.gauge_name : "unit " + record.unit_serial;
      std::printf("%s is the reference for %s\n", printable(run_).c_str(), printable(of).c_str());
      return exit_pass;
    } catch (const std::runtime_error& e) {
      throw UsageError(e.what());
    }
  }

 private:
  // A reference vouches for every run that is compared with it.
  void refuse_unless_verified() const {
    const std::optional<std::string> doubt = first_doubt(verify_run(run_, this_program()));
    if (doubt)
      throw UsageError(fmt::format(
          "{} is not accepted, because `report {} --verify` does not bear it out: {}", run_, run_, *doubt));
  }

  void refuse_unless_fit(const RunResult& result) const {
    if (!result.complete)
      throw UsageError(run_ + " is not complete" + (result.notes.empty() ? "" : ": " + result.notes.front()));
    if (result.verdict != Verdict::pass && !even_so_)
      throw UsageError(run_ + " is not a pass: its verdict is " + std::string(word(result.verdict)) +
                       "; --even-so accepts it all the same");
  }

  std::string run_, who_, why_, history_;
  bool even_so_ = false;
};

}  // namespace

std::unique_ptr<Command> make_accept_command() { return std::make_unique<AcceptCommand>(); }

}  // namespace tachproof
