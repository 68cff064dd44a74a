#include "bench/commands/rig_report.h"

#include <fmt/format.h>

#include "bench/record/text.h"

namespace tachproof {

void RigReport::say(const std::string& text) const {
  if (as_json) return;
  for (const std::string& line : wrapped(printable(text), 80)) fmt::print("{}\n", line);
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
