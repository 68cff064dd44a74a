// From argv to a command and its exit status. Every error ends here, as a line
// on stderr and a status.
#pragma once

#include <memory>
#include <span>
#include <string>

#include "bench/commands/command.h"

namespace tachproof {

using CommandMaker = std::unique_ptr<Command> (*)();

int run_command_line(std::span<char* const> words, std::span<const CommandMaker> commands);

// A command's help as a manual page of at most 80 columns.
std::string help_page(const Command& command, const Arguments& arguments);

}  // namespace tachproof
