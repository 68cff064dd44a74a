// Manual pages and shell completion, made of what the commands say of themselves: the same description that
// the command line is read by and that --help prints. There is no second list of commands or options.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "bench/commands/command.h"
#include "bench/commands/command_line.h"

namespace tachproof {

// A command with what it takes. The arguments point into the command.
struct DescribedCommand {
  std::unique_ptr<Command> command;
  CommandHelp help;
  Arguments arguments;
};
std::vector<DescribedCommand> described(std::span<const CommandMaker> commands);

// What stands in every manual page.
struct ManualFacts {
  std::string version;
  std::string data_folder;  // where examples and pages are installed: "/usr/share/tachproof"
};
// In man(7)'s language. The first is the program's own page.
std::string manual_page(const std::vector<DescribedCommand>& commands, const ManualFacts& facts);
std::string manual_page(const DescribedCommand& command, const ManualFacts& facts);

// What a shell offers for a value or a word.
struct Offer {
  enum class From {
    nothing,  // a number, a name
    kinds,    // YAML and JSON files of `words`, kinds of file
    files,    // any
    folders,
    run_folders,  // of runs and of suites
    devices,      // `words`: patterns of paths
    words,        // one of `words`
  } from = From::nothing;
  std::vector<std::string> words;
};
Offer offered_for(const std::string& command, const Arguments::Argument& argument);

// A shell's functions with what is said of the commands where @COMMANDS@ and @NAMES@ stand, once each.
std::string filled(std::string_view functions, const std::string& cases, const std::string& names);
std::string bash_completion(const std::vector<DescribedCommand>& commands);
std::string zsh_completion(const std::vector<DescribedCommand>& commands);

}  // namespace tachproof
