// What every command with a run folder shares: the unit's serial number, what the
// shop states for the report, the folder, and the history that the run goes into.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "bench/commands/command.h"
#include "bench/commands/inputs.h"
#include "bench/history/history.h"
#include "bench/record/run_folder.h"
#include "bench/rigs/rig.h"
#include "bench/run/find_causes.h"

namespace tachproof {

class ReportOptions {
 public:
  // `named_after`: what the run folder's own name is made of, "<scenario>".
  // `serials`: takes the serial numbers of a command that tests several units.
  void declare(Arguments& arguments, const std::string& named_after,
               std::vector<std::string>* serials = nullptr);
  // The option of what stops when it knows enough; `what` says when that is.
  void declare_to_the_end(Arguments& arguments, const std::string& what);
  // Reads the certificate file, where one was given. Throws FileErrors. Before begun().
  void load();
  // A record of this gauge, this serial number, what the shop states, and this moment.
  RunRecord begun(const GaugeInput& gauge) const;
  // In place of a command line: a certificate file and a history, or none of either.
  void set(std::string certificate_file, std::string history, bool no_history);
  // The certificate file that is named elsewhere, unless one was given.
  void take_certificate(const std::string& file) {
    if (certificate_file_.empty()) certificate_file_ = file;
  }
  // A file that every folder made after this keeps, and that its record names among the inputs.
  void also_keep(std::string as, std::string bytes) {
    also_kept_.emplace_back(std::move(as), std::move(bytes));
  }
  // The folder asked for, with the certificate file among the record's inputs.
  // Throws UsageError when it cannot be made or is not empty.
  RunFolder make_folder(RunRecord& record) const { return make_folder(record, out_); }
  // The same, in a folder of the command's choice.
  RunFolder make_folder(RunRecord& record, const std::string& out) const;
  // Adds the finished run to the history, prints it, and gives the exit status.
  // A history that cannot be written is a warning on stderr: the verdict stands.
  int close(const RunFolder& folder, const RunRecord& record) const;
  void add_to_history(const RunFolder& folder) const;
  // Of the unit of this record, by the history; `record` must outlive it.
  AcceptedSettings accepted(const RunRecord& record) const;
  bool to_the_end() const { return to_the_end_; }
  bool json() const { return json_; }
  const std::string& serial() const { return serial_; }
  const std::string& out() const { return out_; }
  // Empty: none was given.
  std::string certificate_sha256() const { return certificate_ ? certificate_->sha256 : ""; }

 private:
  std::string serial_, out_, certificate_file_, history_;
  std::optional<CertificateInput> certificate_;
  std::vector<std::pair<std::string, std::string>> also_kept_;
  bool no_history_ = false, json_ = false, to_the_end_ = false;
};

// What the rig says of itself, into the record.
void note_rig(const Rig& rig, RunRecord& record);

// The file or the server given, else TACHPROOF_HISTORY, else tachproof/history.db
// where the user's data is ($XDG_DATA_HOME, or ~/.local/share). Empty:
// TACHPROOF_HISTORY is set to nothing. Throws std::runtime_error when there is no such place.
HistoryPlace history_place(const std::string& given);
// On stderr: runs that wait for the history's server.
void warn_of_waiting(const History& history);

}  // namespace tachproof
