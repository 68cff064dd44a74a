#include "bench/commands/command_line.h"

namespace tachproof {

namespace {

constexpr std::size_t columns = 80;

// Breaks `text` at blanks so that no line is wider than the page; a newline in
// the text is kept.
std::string wrapped(const std::string& text, std::size_t indent, std::size_t width = columns) {
  std::string page;
  std::size_t start = 0;
  while (start <= text.size()) {
    const std::size_t newline = std::min(text.find('\n', start), text.size());
    std::string line(indent, ' ');
    std::size_t at = start;
    while (at < newline) {
      const std::size_t blank = std::min(text.find(' ', at), newline);
      const std::size_t length = blank - at;
      if (line.size() > indent && line.size() + 1 + length > width) {
        page += line + "\n";
        line.assign(indent, ' ');
      }
      if (line.size() > indent) line += ' ';
      line.append(text, at, length);
      at = blank + 1;
    }
    page += line.size() > indent ? line + "\n" : "\n";
    start = newline + 1;
  }
  return page;
}

std::string left_column(const Arguments::Argument& argument) {
  return argument.value.empty() ? argument.name : argument.name + " " + argument.value;
}

}  // namespace

std::string help_page(const Command& command, const Arguments& arguments) {
  constexpr std::size_t indent = 2;
  constexpr std::size_t help_indent = 8;
  const CommandHelp help = command.help();
  std::string page = "tachproof " + help.name + " - " + help.summary + "\n\nSynopsis\n";
  page += wrapped("tachproof " + help.name + " " + help.synopsis, indent);
  page += "\nDescription\n" + wrapped(help.description, indent) + "\nOptions\n";
  for (const Arguments::Argument& argument : arguments.all())
    page += "  " + left_column(argument) + "\n" + wrapped(argument.help, help_indent);
  page += "  -h, --help\n" + wrapped("Prints this page.", help_indent);
  page += "\nExit status\n" + wrapped(help.exit_status, indent);
  page += help.examples.size() > 1 ? "\nExamples\n" : "\nExample\n";
  for (const std::string& example : help.examples) page += example_lines(example, indent, columns) + "\n";
  return page;
}

std::string example_lines(const std::string& example, std::size_t indent, std::size_t width) {
  std::string lines = wrapped(example, indent + 2, width - 2);
  lines.erase(0, 2);
  lines.pop_back();
  for (std::size_t at = 0; (at = lines.find('\n', at)) != std::string::npos; at += 3)
    lines.replace(at, 1, " \\\n");
  return lines;
}

}  // namespace tachproof
