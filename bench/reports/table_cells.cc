#include "bench/reports/table_cells.h"

#include "bench/record/summary.h"
#include "core/judge/row_place.h"

namespace tachproof {

std::string verdict_cell(const RunRecord& record, Verdict v) {
  if (tells_findings(record)) return "<td>found</td>";
  if (v == Verdict::pass) return "<td>pass</td>";
  return fmt::format("<td><b class=\"{}\">{}</b></td>", word(v), shouted(v));
}

std::string text_cell(std::string_view text) {
  const std::string shown = printable(text);
  return fmt::format("<td class=\"{}\">{}</td>", code_points(shown) <= 20 ? "w" : "m", escaped(shown));
}

std::string short_cell(std::string_view text) {
  return fmt::format("<td class=\"w\">{}</td>", escaped(text));
}

std::string number_cell(const std::string& html) { return fmt::format("<td class=\"n\">{}</td>", html); }

std::string table(const char* heading, const std::vector<TableColumn>& columns, const std::string& rows,
                  const std::string& caption) {
  if (rows.empty()) return "";
  std::string html = fmt::format("<h2>{}</h2>\n<div class=\"scroll\"><table>\n", heading);
  if (!caption.empty()) html += fmt::format("<caption>{}</caption>\n", caption);
  html += "<thead><tr>";
  for (const TableColumn& c : columns)
    html += fmt::format("<th{}>{}</th>", c.number ? " class=\"n\"" : "", c.title);
  return html + "</tr></thead>\n<tbody>\n" + rows + "</tbody></table></div>\n";
}

std::string row(const std::string& cells) { return "<tr>" + cells + "</tr>\n"; }

std::string remark_row(const std::string& sentence, std::size_t columns) {
  if (sentence.empty()) return "";
  return row(fmt::format("<td></td><td colspan=\"{}\" class=\"m\">{}</td>", columns - 1, escaped(sentence)));
}

std::string StateHeadings::before(const std::string& state) {
  if (!any_ || (!first_ && state == state_)) return "";
  first_ = false;
  state_ = state;
  return fmt::format("<tr class=\"state\"><th colspan=\"{}\" scope=\"rowgroup\">{}</th></tr>\n", columns_,
                     state.empty() ? std::string(state_as_set) : escaped(state));
}

}  // namespace tachproof
