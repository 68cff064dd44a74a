// The tables of what was done to the unit beside the rpm: pressed, dimmed, its supply cut.
#include <cmath>

#include "bench/record/summary.h"
#include "bench/reports/html_tables.h"
#include "bench/reports/table_cells.h"
#include "core/judge/row_place.h"

namespace tachproof {

std::string presses_html(const RunRecord& record) {
  std::string rows;
  for (const PressResult& p : record.result.presses) {
    const std::string_view said = press_word(p);
    const int decimals = decimals_for(p.expanded_uncertainty_rpm);
    rows += row(text_cell(p.button) + number_cell(html_number(to_seconds(p.at), 3)) +
                number_cell(html_number(p.rpm, 1)) +
                number_cell(said.empty() ? html_number(p.taken_rpm, decimals) : std::string(said)) +
                number_cell(said.empty() ? html_number(p.expanded_uncertainty_rpm, decimals) : "–") +
                number_cell(html_number(p.reaction_ms, 1)) + verdict_cell(record, p.verdict));
    rows += remark_row(as_sentence(p.remark), 7);
  }
  return table("Presses",
               {{"button"},
                {"at, s", true},
                {"rpm", true},
                {"taken, rpm", true},
                {"U, rpm", true},
                {"reaction, ms", true},
                {"verdict"}},
               rows,
               "What the unit took is seen from its boundaries, passed after the press. Reaction: until the "
               "lamps changed, where they had to at once.");
}

std::string dims_html(const RunRecord& record) {
  std::string rows;
  for (const DimResult& d : record.result.dims) {
    const int decimals = decimals_for(100 * d.expanded_uncertainty, 1);
    rows += row(text_cell(d.button) + number_cell(html_number(to_seconds(d.at), 3)) +
                number_cell(html_number(100 * d.set_level, 1)) +
                number_cell(html_number(100 * d.level, decimals)) +
                number_cell(html_number(100 * d.expanded_uncertainty, decimals)) + text_cell(d.lamp) +
                verdict_cell(record, d.verdict));
    rows += remark_row(as_sentence(d.remark), 7);
  }
  return table(
      "Dimming",
      {{"button"},
       {"at, s", true},
       {"set, %", true},
       {"measured, %", true},
       {"U, %", true},
       {"lamp"},
       {"verdict"}},
      rows,
      "Shares of full light: for how much of each cycle the lamp was lit. The lamp is the one that was "
      "furthest off.");
}

std::string powers_html(const RunRecord& record) {
  const std::optional<PowerUp>& power_up = record.gauge.power_up;
  const std::string set = power_up ? html_number(to_ms(power_up->boot_from), 0) + " to " +
                                         html_number(to_ms(power_up->boot_to), 0)
                                   : "–";
  std::string rows;
  for (const PowerResult& p : record.result.powers) {
    const int decimals = decimals_for(p.expanded_uncertainty_ms, 1);
    rows += row(text_cell(power_word(p)) +
                number_cell(std::isfinite(p.lowest_v) ? html_number(p.lowest_v, 1) : "off") +
                number_cell(html_number(to_seconds(p.at), 3)) +
                number_cell(html_number(to_seconds(p.back_at), 3)) +
                number_cell(html_number(p.boot_ms, decimals)) +
                number_cell(html_number(p.expanded_uncertainty_ms, decimals)) + number_cell(set) +
                number_cell(html_number(p.greeted_ms, 0)) + verdict_cell(record, p.verdict));
    rows += remark_row(as_sentence(p.remark), 9);
  }
  return table("Power",
               {{"what"},
                {"fed, V", true},
                {"from, s", true},
                {"back at, s", true},
                {"woke after, ms", true},
                {"U, ms", true},
                {"set, ms", true},
                {"greeted for, ms", true},
                {"verdict"}},
               rows);
}

}  // namespace tachproof
