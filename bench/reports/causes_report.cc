#include "bench/reports/causes_report.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/record/summary.h"
#include "bench/record/text.h"

namespace tachproof {
namespace {

void paragraph(std::string& out, std::size_t width, const std::string& lead, const std::string& text) {
  std::string before = lead;
  for (const std::string& part : wrapped(printable(text), width - std::min(width / 2, lead.size()))) {
    out += before + part + "\n";
    before.assign(lead.size(), ' ');
  }
}

constexpr const char* not_told_apart =
    "This run does not tell these causes apart: tachproof diagnose RUN --next FILE writes the scenario that "
    "does.";

}  // namespace

std::string causes_text(const Causes& causes, int columns) {
  if (causes.empty()) return "";
  const auto width = static_cast<std::size_t>(std::max(columns, 40));
  std::string out = "\n";
  if (!causes.missing.empty()) out += "What is missing\n";
  for (const std::string& one : causes.missing) paragraph(out, width, "  - ", one);
  if (causes.list.empty() && causes.none.empty()) return out;
  out += causes.list.size() == 1 ? "Cause\n" : "Causes\n";
  if (!causes.none.empty()) paragraph(out, width, "  ", causes.none);
  for (std::size_t i = 0; i < causes.list.size(); ++i) {
    const Cause& cause = causes.list[i];
    const std::string lead = causes.list.size() == 1 ? "  " : fmt::format("{:>3}. ", i + 1);
    paragraph(out, width, lead, fmt::format("{}; {}.", cause.text, share_of(cause)));
    paragraph(out, width, std::string(lead.size(), ' '), cause.todo);
    for (const std::string& left : cause.left)
      paragraph(out, width, std::string(lead.size(), ' ') + "left: ", as_sentence(left));
  }
  if (!causes.told_apart) paragraph(out, width, "  ", not_told_apart);
  return out;
}

std::string causes_html(const Causes& causes) {
  std::string html;
  if (!causes.missing.empty()) {
    html += "<h2>What is missing</h2>\n<ul>\n";
    for (const std::string& one : causes.missing) html += fmt::format("<li>{}</li>\n", escaped(one));
    html += "</ul>\n";
  }
  if (causes.list.empty() && causes.none.empty()) return html;
  html += causes.list.size() == 1 ? "<h2>Cause</h2>\n" : "<h2>Causes</h2>\n";
  if (!causes.none.empty()) html += fmt::format("<p>{}</p>\n", escaped(causes.none));
  if (!causes.list.empty()) html += "<ol>\n";
  for (const Cause& cause : causes.list) {
    html += fmt::format("<li><b>{}</b>; {}. {}", escaped(cause.text), share_of(cause), escaped(cause.todo));
    if (!cause.left.empty()) {
      html += " Left:\n<ul>\n";
      for (const std::string& left : cause.left)
        html += fmt::format("<li>{}</li>\n", escaped(as_sentence(left)));
      html += "</ul>\n";
    }
    html += "</li>\n";
  }
  if (!causes.list.empty()) html += "</ol>\n";
  if (!causes.told_apart) html += fmt::format("<p>{}</p>\n", escaped(not_told_apart));
  return html;
}

}  // namespace tachproof
