// One command of the program: what it says of itself, what it takes, what it does.
//
// A new command is one file here and one line in bench/page/all_commands.h.
#pragma once

#include <memory>
#include <stdexcept>
#include <string>
#include <vector>

#include "core/judge/result.h"

namespace tachproof {

// The program's exit statuses: a promise to scripts.
enum ExitStatus : int { exit_pass = 0, exit_fail = 1, exit_usage = 2, exit_undecided = 3 };
ExitStatus exit_status(Verdict verdict);

// The command line or an input is at fault, and nothing was started. what() is
// one line for the user.
struct UsageError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

// What a command takes. `into` is set when the command line is read; it must
// live as long as the command. Words without dashes are taken in the order of
// declaration.
class Arguments {
 public:
  struct Argument {
    enum class Kind { word, words, option, repeated, flag } kind = Kind::flag;
    std::string name;   // "SCENARIO", "--gauge"
    std::string value;  // "FILE"; empty for flags and words
    std::string help;
    bool required = false;
    std::string* text = nullptr;
    std::vector<std::string>* texts = nullptr;
    bool* given = nullptr;
  };

  void word(std::string& into, std::string name, std::string help);
  void words(std::vector<std::string>& into, std::string name, std::string help);  // one or more
  void optional_words(std::vector<std::string>& into, std::string name, std::string help);
  void required(std::string& into, std::string option, std::string value, std::string help);
  void option(std::string& into, std::string option, std::string value, std::string help);
  // Each may be given several times.
  void repeated(std::vector<std::string>& into, std::string option, std::string value, std::string help);
  void required_repeated(std::vector<std::string>& into, std::string option, std::string value,
                         std::string help);
  void flag(bool& into, std::string option, std::string help);

  const std::vector<Argument>& all() const { return all_; }

 private:
  std::vector<Argument> all_;
};

struct CommandHelp {
  std::string name;
  std::string summary;                // a few words, for the list of commands
  std::string synopsis;               // after "tachproof name"
  std::string description;            // paragraphs parted by an empty line
  std::string exit_status;            // one line per status
  std::vector<std::string> examples;  // whole command lines
};

class Command {
 public:
  virtual ~Command() = default;
  virtual CommandHelp help() const = 0;
  virtual void declare(Arguments& arguments) = 0;
  // The exit status. Throws UsageError or FileErrors before anything is started.
  virtual int run() = 0;
};

std::unique_ptr<Command> make_run_command();
std::unique_ptr<Command> make_expect_command();
std::unique_ptr<Command> make_judge_command();
std::unique_ptr<Command> make_check_command();
std::unique_ptr<Command> make_report_command();
std::unique_ptr<Command> make_speed_command();
std::unique_ptr<Command> make_ports_command();
std::unique_ptr<Command> make_rig_command();
std::unique_ptr<Command> make_calibrate_command();
std::unique_ptr<Command> make_history_command();
std::unique_ptr<Command> make_survey_command();
std::unique_ptr<Command> make_deadband_command();
std::unique_ptr<Command> make_noise_command();
std::unique_ptr<Command> make_settings_command();
std::unique_ptr<Command> make_compare_command();
std::unique_ptr<Command> make_accept_command();
std::unique_ptr<Command> make_diagnose_command();
std::unique_ptr<Command> make_teach_command();
std::unique_ptr<Command> make_grade_command();
std::unique_ptr<Command> make_plan_command();

}  // namespace tachproof
