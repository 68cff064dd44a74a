#include "bench/commands/command_line.h"

#include <CLI/CLI.hpp>
#include <cstdio>
#include <exception>

#include "bench/commands/version.h"
#include "bench/files/files.h"

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
    throw UsageError(e.what());
  }
  if (help) return true;
  for (std::size_t i = 0; i < options.size(); ++i)
    if (arguments.all()[i].required && options[i]->count() == 0)
      throw UsageError(arguments.all()[i].name + " is missing");
  return false;
}

std::string overview(std::span<const CommandMaker> commands) {
  std::string page =
      "tachproof - proves a tachometer's indicator lamps\n\n"
      "Synopsis\n"
      "  tachproof COMMAND ...\n"
      "  tachproof COMMAND --help\n"
      "  tachproof --help | --version\n\n"
      "Commands\n";
  for (const CommandMaker make : commands) {
    const CommandHelp help = make()->help();
    page += "  " + help.name + std::string(help.name.size() < 11 ? 11 - help.name.size() : 1, ' ') +
            help.summary + "\n";
  }
  page +=
      "\nExit status\n"
      "  0  pass, or the command did what was asked\n"
      "  1  fail: the unit is wrong\n"
      "  2  bad usage or a bad file; nothing was started\n"
      "  3  undecided: the bench could not tell\n\n"
      "Example\n"
      "  tachproof speed --limit 60km/h --gear 1.54 --final-drive 3.9 \\\n"
      "    --tyre-diameter 25in\n";
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
    say(stderr, "tachproof " + name + ": " + e.what() + "\n");
    return exit_usage;
  } catch (const FileErrors& e) {
    for (const FileError& error : e.errors) say(stderr, to_line(error) + "\n");
    return exit_usage;
  } catch (const std::exception& e) {
    say(stderr, "tachproof " + name + ": the bench failed, so nothing is decided: " + e.what() + "\n");
    return exit_undecided;
  }
}

int dispatch(std::span<char* const> words, std::span<const CommandMaker> commands) {
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
    say(stdout, "tachproof " + std::string(tool_version) + "\n");
    return exit_pass;
  }
  std::string known;
  for (const CommandMaker make : commands) {
    const std::unique_ptr<Command> command = make();
    const std::string name = command->help().name;
    if (name == first) return run_command(*command, words.subspan(1));
    known += (known.empty() ? "" : ", ") + name;
  }
  say(stderr, "tachproof: there is no command '" + first + "'; there are " + known + "\n");
  return exit_usage;
}

}  // namespace

int run_command_line(std::span<char* const> words, std::span<const CommandMaker> commands) {
  const int status = dispatch(words, commands);
  // A verdict that did not get out (a full disk, a closed pipe) is no verdict.
  if (std::fflush(stdout) != 0 || std::ferror(stdout) != 0) {
    say(stderr, "tachproof: standard output cannot be written\n");
    return status == exit_pass ? exit_undecided : status;
  }
  return status;
}

}  // namespace tachproof
