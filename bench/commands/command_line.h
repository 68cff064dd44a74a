// From argv to a command and its exit status. Every error ends here, as a line
// on stderr and a status.
#pragma once

#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "bench/commands/command.h"

namespace tachproof {

using CommandMaker = std::unique_ptr<Command> (*)();

// `about_build` is what --version says below the version: whole lines.
int run_command_line(std::span<char* const> words, std::span<const CommandMaker> commands,
                     std::string_view about_build = {});

// The program's own page. Its synopsis is what stands after "tachproof", a line each; it has no description.
CommandHelp program_help();

// What stands a line each, line by line; one at least.
std::vector<std::string_view> lines_of(std::string_view text);

// A command's help as a manual page of at most 80 columns.
std::string help_page(const Command& command, const Arguments& arguments);

// A whole command line in lines of at most `columns`; the shell reads on after a backslash. Each line begins
// with `indent` blanks, the second and later with two more. No newline at the end.
std::string example_lines(const std::string& example, std::size_t indent, std::size_t columns);

}  // namespace tachproof
