#include "bench/install/page_texts.h"

namespace tachproof {
namespace {

// What man(7) would read as a request, an escape or another sign.
std::string plain(std::string_view text) {
  std::string out;
  for (const char c : text) {
    switch (c) {
      case '\\': out += "\\e"; break;
      case '-': out += "\\-"; break;
      case '\'': out += "\\(aq"; break;
      case '`': out += "\\(ga"; break;
      case '^': out += "\\(ha"; break;
      case '~': out += "\\(ti"; break;
      default: out += c;
    }
  }
  return out;
}

// A line of text: a period at its beginning would be a request.
std::string line(std::string_view text) {
  const std::string made = plain(text);
  return (made.starts_with('.') ? "\\&" : "") + made + "\n";
}

std::string head(const std::string& title, const std::string& summary, const ManualFacts& facts) {
  std::string upper = title;
  for (char& c : upper)
    if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
  return ".\\\" Made when the program was built, of what it says of itself.\n.TH " + plain(upper) +
         " 1 \"\" \"tachproof " + plain(facts.version) +
         "\" \"Tachproof\"\n.nr HY 0\n.nh\n.ad l\n.SH NAME\n" + plain(title) + " \\- " + plain(summary) +
         "\n";
}

std::string synopsis_line(const std::string& command, std::string_view rest) {
  return ".B " + plain(command) + "\n" + line(rest);
}

// A newline in the text is kept; an empty line parts paragraphs.
std::string paragraphs(std::string_view text) {
  std::string out;
  bool broken = true;
  for (const std::string_view each : lines_of(text)) {
    if (each.empty()) {
      out += ".PP\n";
      broken = true;
      continue;
    }
    if (!broken) out += ".br\n";
    out += line(each);
    broken = false;
  }
  return out;
}

// "0  pass" and the like: the status to the left of what it means.
std::string statuses(std::string_view text) {
  std::string out = ".SH \"EXIT STATUS\"\n";
  for (const std::string_view each : lines_of(text)) {
    const std::size_t blank = each.find("  ");
    if (blank == std::string_view::npos)
      out += line(each);
    else
      out += ".TP\n.B " + plain(each.substr(0, blank)) + "\n" + line(each.substr(blank + 2));
  }
  return out;
}

std::string examples(const CommandHelp& help) {
  std::string out = help.examples.size() > 1 ? ".SH EXAMPLES\n" : ".SH EXAMPLE\n";
  for (std::size_t i = 0; i < help.examples.size(); ++i) {
    if (i > 0) out += ".PP\n";
    out += ".EX\n";
    const std::string lines = example_lines(help.examples[i], 0, 72);
    for (const std::string_view each : lines_of(lines)) out += line(each);
    out += ".EE\n";
  }
  return out;
}

}  // namespace

std::string manual_page(const DescribedCommand& command, const ManualFacts& facts) {
  const CommandHelp& help = command.help;
  std::string page = head("tachproof-" + help.name, help.summary, facts) + ".SH SYNOPSIS\n" +
                     synopsis_line("tachproof " + help.name, help.synopsis) + ".SH DESCRIPTION\n" +
                     paragraphs(help.description) + ".SH OPTIONS\n";
  for (const Arguments::Argument& argument : command.arguments.all()) {
    page += std::string(".TP\n") + (argument.name.starts_with("--") ? ".B " : ".I ") + plain(argument.name) +
            "\n";
    if (!argument.value.empty()) {
      page.pop_back();
      page += " \\fI" + plain(argument.value) + "\\fR\n";
    }
    page += line(argument.help);
  }
  page += ".TP\n.B \\-h, \\-\\-help\nPrints this page.\n" + statuses(help.exit_status) + examples(help) +
          ".PP\nThe files of the examples are in " + line(facts.data_folder + ".") +
          ".SH \"SEE ALSO\"\n.BR tachproof (1)\n";
  return page;
}

std::string manual_page(const std::vector<DescribedCommand>& commands, const ManualFacts& facts) {
  const CommandHelp program = program_help();
  std::string page = head(program.name, program.summary, facts) + ".SH SYNOPSIS\n";
  bool first = true;
  for (const std::string_view each : lines_of(program.synopsis)) {
    if (!first) page += ".br\n";
    page += synopsis_line(program.name, each);
    first = false;
  }
  page += ".SH COMMANDS\nEach has a page of its own, tachproof\\-COMMAND(1).\n";
  for (const DescribedCommand& command : commands)
    page += ".TP\n.B " + plain(command.help.name) + "\n" + line(command.help.summary);
  page += statuses(program.exit_status) + examples(program);
  const std::string data = plain(facts.data_folder);
  const auto file = [&page](const std::string& name, const std::string& about) {
    page += ".TP\n.I " + name + "\n" + line(about);
  };
  page += ".SH FILES\n";
  file(data + "/scenarios", "The scenarios that ship.");
  file(data + "/fixtures",
       "Gauges, rigs, jobs and other files that ship, of an invented shop, and schemas for editors.");
  file(data + "/README.md",
       "The way from a gauge file to a verdict in ten minutes, and where all other pages are.");
  file(data + "/bench/INSTALLING.md",
       "For administrators: where files lie, devices, the bench page as a service.");
  page +=
      ".PP\nThe paths in examples begin in that folder. To follow them, copy it and work in the copy, as "
      "runs are "
      "written where you are:\n.PP\n.EX\n" +
      line("cp -r " + facts.data_folder + " bench && cd bench") + ".EE\n.SH \"SEE ALSO\"\n";
  for (std::size_t i = 0; i < commands.size(); ++i)
    page += ".BR " + plain("tachproof-" + commands[i].help.name) + " (1)" +
            (i + 1 < commands.size() ? ",\n" : "\n");
  return page;
}

}  // namespace tachproof
