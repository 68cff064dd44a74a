// The options that every command with a run folder shares: what the shop states
// for the report, and the history that the run goes into.
#pragma once

#include <optional>
#include <string>

#include "bench/commands/command.h"
#include "bench/run/run_folder.h"

namespace tachproof {

class ReportOptions {
 public:
  void declare(Arguments& arguments);
  // What the certificate file states; nothing when none was given. Throws
  // FileErrors.
  std::optional<Certificate> load() const;
  // Copies the certificate file into the folder, among the record's inputs.
  void keep(RunFolder& folder, RunRecord& record) const;
  // Adds the finished run to the history. What goes wrong is a warning on
  // stderr: the verdict stands.
  void index(const RunFolder& folder) const;

 private:
  std::string certificate_, history_;
  bool no_history_ = false;
};

// The file given, else TACHPROOF_HISTORY, else tachproof/history.db where the
// user's data is ($XDG_DATA_HOME, or ~/.local/share). Empty: TACHPROOF_HISTORY
// is set to nothing. Throws std::runtime_error when there is no such place.
std::filesystem::path history_file(const std::string& given);

}  // namespace tachproof
