#include "bench/commands/command_line.h"

#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <exception>
#include <optional>

#include "bench/commands/terminal.h"
#include "bench/commands/version.h"
#include "bench/files/files.h"
#include "bench/record/text.h"
#include "core/base/words.h"

namespace tachproof {

ExitStatus exit_status(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass: return exit_pass;
    case Verdict::fail: return exit_fail;
    case Verdict::undecided: return exit_undecided;
  }
  return exit_undecided;
}

void Arguments::word(std::string& into, std::string name, std::string help) {
  all_.push_back({Argument::Kind::word, std::move(name), "", std::move(help), true, &into, nullptr, nullptr});
}
void Arguments::words(std::vector<std::string>& into, std::string name, std::string help) {
  all_.push_back(
      {Argument::Kind::words, std::move(name), "", std::move(help), true, nullptr, &into, nullptr});
}
void Arguments::optional_words(std::vector<std::string>& into, std::string name, std::string help) {
  words(into, std::move(name), std::move(help));
  all_.back().required = false;
}
void Arguments::required(std::string& into, std::string option, std::string value, std::string help) {
  all_.push_back({Argument::Kind::option, std::move(option), std::move(value), std::move(help), true, &into,
                  nullptr, nullptr});
}
void Arguments::option(std::string& into, std::string option, std::string value, std::string help) {
  all_.push_back({Argument::Kind::option, std::move(option), std::move(value), std::move(help), false, &into,
                  nullptr, nullptr});
}
void Arguments::repeated(std::vector<std::string>& into, std::string option, std::string value,
                         std::string help) {
  all_.push_back({Argument::Kind::repeated, std::move(option), std::move(value), std::move(help), false,
                  nullptr, &into, nullptr});
}
void Arguments::required_repeated(std::vector<std::string>& into, std::string option, std::string value,
                                  std::string help) {
  repeated(into, std::move(option), std::move(value), std::move(help));
  all_.back().required = true;
}
void Arguments::flag(bool& into, std::string option, std::string help) {
  all_.push_back(
      {Argument::Kind::flag, std::move(option), "", std::move(help), false, nullptr, nullptr, &into});
}

namespace {

void say(std::FILE* stream, const std::string& text) { std::fwrite(text.data(), 1, text.size(), stream); }

// One line for a program that reads it; for a person at a terminal broken between words.
void complain_of(const std::string& text) {
  if (isatty(STDERR_FILENO) == 0) return say(stderr, text + "\n");
  std::string_view indent;
  for (const std::string& line : wrapped(text, static_cast<std::size_t>(columns_of(stderr)) - 4)) {
    say(stderr, std::string(indent) + line + "\n");
    indent = "    ";
  }
}

// Names of files and words of devices may be in it.
void complain(std::string_view text) {
  while (text.ends_with('\n')) text.remove_suffix(1);
  for (const std::string_view line : lines_of(text)) complain_of(printable(line));
}

// What a misspelt option was meant to be.
std::optional<std::string> unknown_option(const Arguments& arguments, std::span<char* const> words) {
  std::vector<std::string> options{"--help"};
  for (const Arguments::Argument& argument : arguments.all())
    if (argument.name.starts_with("--")) options.push_back(argument.name);
  for (const std::string_view word : words) {
    const std::string name(word.substr(0, word.find('=')));
    if (name == "--") break;
    if (!name.starts_with("--") || std::find(options.begin(), options.end(), name) != options.end()) continue;
    const std::string meant = nearest(name, options);
    return "there is no option " + name + (meant.empty() ? "; see --help" : "; did you mean " + meant + "?");
  }
  return std::nullopt;
}

// Throws UsageError. True: help was asked for.
bool read_words(const std::string& name, const Arguments& arguments, std::span<char* const> words) {
  CLI::App app("", name);
  app.set_help_flag("");
  bool help = false;
  app.add_flag("-h,--help", help);
  std::vector<const Arguments::Argument*> needed;
  std::vector<CLI::Option*> options;
  for (const Arguments::Argument& argument : arguments.all()) {
    using Kind = Arguments::Argument::Kind;
    switch (argument.kind) {
      case Kind::word: options.push_back(app.add_option(argument.name, *argument.text)); break;
      case Kind::words: options.push_back(app.add_option(argument.name, *argument.texts)); break;
      case Kind::option: options.push_back(app.add_option(argument.name, *argument.text)); break;
      // One value after each, or the words that follow would be taken too.
      case Kind::repeated:
        options.push_back(app.add_option(argument.name, *argument.texts)->allow_extra_args(false));
        break;
      case Kind::flag: options.push_back(app.add_flag(argument.name, *argument.given)); break;
    }
  }
  std::vector<std::string> reversed(words.rbegin(), words.rend());
  try {
    app.parse(std::move(reversed));
  } catch (const CLI::ParseError& e) {
    if (help) return true;
    throw UsageError(unknown_option(arguments, words).value_or(e.what()));
  }
  if (help) return true;
  for (std::size_t i = 0; i < options.size(); ++i)
    if (arguments.all()[i].required && options[i]->count() == 0)
      throw UsageError(arguments.all()[i].name + " is missing");
  return false;
}

std::string overview(std::span<const CommandMaker> commands) {
  const CommandHelp program = program_help();
  std::string page = program.name + " - " + program.summary + "\n\nSynopsis\n";
  for (const std::string_view line : lines_of(program.synopsis)) {
    page += "  " + program.name + " ";
    page += line;
    page += "\n";
  }
  page += "\nCommands\n";
  for (const CommandMaker make : commands) {
    const CommandHelp help = make()->help();
    page += "  " + help.name + std::string(help.name.size() < 11 ? 11 - help.name.size() : 1, ' ') +
            help.summary + "\n";
  }
  page += "\nExit status\n";
  for (const std::string_view line : lines_of(program.exit_status)) {
    page += "  ";
    page += line;
    page += "\n";
  }
  page += "\nExample\n";
  for (const std::string& example : program.examples) page += example_lines(example, 2, 80) + "\n";
  return page;
}

int run_command(Command& command, std::span<char* const> words) {
  const std::string name = command.help().name;
  Arguments arguments;
  command.declare(arguments);
  try {
    if (read_words(name, arguments, words)) {
      say(stdout, help_page(command, arguments));
      return exit_pass;
    }
    return command.run();
  } catch (const UsageError& e) {
    complain("tachproof " + name + ": " + e.what());
    return exit_usage;
  } catch (const FileErrors& e) {
    for (const FileError& error : e.errors) complain(to_line(error));
    return exit_usage;
  } catch (const std::exception& e) {
    complain("tachproof " + name + ": the bench failed, so nothing is decided: " + e.what());
    return exit_undecided;
  }
}

int dispatch(std::span<char* const> words, std::span<const CommandMaker> commands,
             std::string_view about_build) {
  if (words.empty()) {
    say(stderr, overview(commands));
    return exit_usage;
  }
  const std::string first = words[0];
  if (first == "--help" || first == "-h") {
    say(stdout, overview(commands));
    return exit_pass;
  }
  if (first == "--version") {
    say(stdout, "tachproof " + std::string(tool_version) + "\n" + std::string(about_build));
    return exit_pass;
  }
  std::vector<std::string> names;
  std::string known;
  for (const CommandMaker make : commands) {
    const std::unique_ptr<Command> command = make();
    names.push_back(command->help().name);
    if (names.back() == first) return run_command(*command, words.subspan(1));
    known += (known.empty() ? "" : ", ") + names.back();
  }
  const std::string meant = nearest(first, names);
  complain("tachproof: there is no command '" + first + "'; " +
           (meant.empty() ? "there are " + known : "did you mean '" + meant + "'?"));
  return exit_usage;
}

}  // namespace

std::vector<std::string_view> lines_of(std::string_view text) {
  std::vector<std::string_view> lines;
  for (;;) {
    const std::size_t end = text.find('\n');
    lines.push_back(text.substr(0, end));
    if (end == std::string_view::npos) return lines;
    text.remove_prefix(end + 1);
  }
}

CommandHelp program_help() {
  return {"tachproof",
          "proves a tachometer's indicator lamps",
          "COMMAND ...\nCOMMAND --help\n--help | --version",
          "",
          "0  pass, or the command did what was asked\n"
          "1  fail: the unit is wrong\n"
          "2  bad usage or a bad file; nothing was started\n"
          "3  undecided: the bench could not decide",
          {"tachproof speed --limit 60km/h --gear 1.54 --final-drive 3.9 --tyre-diameter 25in"}};
}

int run_command_line(std::span<char* const> words, std::span<const CommandMaker> commands,
                     std::string_view about_build) {
  const int status = dispatch(words, commands, about_build);
  // A verdict that did not get out (a full disk, a closed pipe) is no verdict.
  if (std::fflush(stdout) != 0 || std::ferror(stdout) != 0) {
    say(stderr, "tachproof: standard output cannot be written\n");
    return status == exit_pass ? exit_undecided : status;
  }
  return status;
}

}  // namespace tachproof
