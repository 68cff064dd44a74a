#include "bench/commands/rig_report.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/commands/terminal.h"
#include "bench/record/text.h"

namespace tachproof {
namespace {

std::size_t columns() { return static_cast<std::size_t>(std::max(columns_of(stdout), 40)); }

}  // namespace

void RigReport::say(const std::string& text) const {
  if (as_json) return;
  if (text.starts_with('\n')) fmt::print("\n");  // a blank line before it
  for (const std::string& line : wrapped(printable(text), columns())) fmt::print("{}\n", line);
}

void RigReport::row(const std::string& label, std::size_t room, const std::string& text) const {
  if (as_json) return;
  const std::size_t indent = room == 0 ? 2 : 2 + room + 1;
  std::string lead = "  " + printable(label);
  if (!label.empty() && code_points(lead) >= indent) {
    for (const std::string& line : wrapped(printable(label), columns() - 2)) fmt::print("  {}\n", line);
    lead.clear();
  }
  for (const std::string& line : wrapped(printable(text), columns() - indent)) {
    fmt::print("{}{}{}\n", lead, std::string(indent - code_points(lead), ' '), line);
    lead.clear();
  }
}

void RigReport::could_not_tell(const std::string& trouble) {
  json["troubles"].push_back(trouble);
  say("The bench could not decide: " + trouble + ".");
}

bool RigReport::undecided(const LampTest& test) {
  for (const std::string& trouble : test.troubles) could_not_tell(trouble);
  return !test.troubles.empty();
}

std::string listed(const std::vector<std::string>& names) {
  std::string text;
  for (const std::string& name : names) text += (text.empty() ? "" : ", ") + name;
  return text;
}

}  // namespace tachproof
