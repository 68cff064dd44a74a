#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>

#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/chart.h"
#include "bench/reports/comparison_report.h"
#include "bench/reports/facts.h"
#include "bench/reports/hatch.h"
#include "bench/reports/html_tables.h"
#include "bench/reports/page.h"
#include "bench/reports/svg.h"
#include "core/gauge/settings_change.h"

namespace tachproof {
namespace {

constexpr double width = 900, left = 110, right = 20;

// The rpm axis leaves out what is below the lowest boundary and above the highest.
Scale rpm_scale(const ComparisonRecord& record) {
  double lowest = 1e9, highest = 0;
  for (const Gauge* gauge : {&record.before.gauge, &record.after.gauge})
    for (std::size_t b = 1; b < gauge->windows.size(); ++b) {
      lowest = std::min(lowest, gauge->falling_rpm(b));
      highest = std::max(highest, gauge->rising_rpm(b));
    }
  const double margin = std::max(0.06 * (highest - lowest), 50.0);
  return {lowest - margin, highest + margin, left, width - right};
}

std::string lamp_fill(const Gauge& gauge, const Palette& palette, const Cue& cue, std::size_t lamp) {
  const Channels own = gauge.lamp_channels(lamp);
  const Channels lit = (cue.steady | cue.blinking) & own;
  if (lit == 0) return "";
  const auto first = static_cast<std::size_t>(std::countr_zero(own));
  const std::string& colour =
      gauge.lamps[lamp].colours[static_cast<std::size_t>(std::countr_zero(lit)) - first];
  return fmt::format("url(#{}-{})", (cue.blinking & own) != 0 ? "flash" : "lit", palette.index(colour));
}

// One gauge: a strip for each lamp, filled where it is lit, over the rpm axis.
std::string settings_strips(const Gauge& gauge, const Palette& palette, const Scale& x, const char* title,
                            double top, double row) {
  std::string svg = svg_text({4, top - 5}, title, "strong");
  for (std::size_t lamp = 0; lamp < gauge.lamps.size(); ++lamp) {
    const double y = top + row * static_cast<double>(lamp);
    svg += svg_text({left - 6, y + row - 4}, shortened(gauge.lamps[lamp].id, 14), "small", Anchor::end);
    svg += svg_line({x.start, y + row / 2}, {x.end, y + row / 2}, "grid");
    for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
      const std::string fill = lamp_fill(gauge, palette, gauge.windows[w].cue, lamp);
      if (fill.empty()) continue;
      const double from = std::max(x(gauge.windows[w].from_rpm), x.start);
      const double to = w + 1 < gauge.windows.size() ? x(gauge.windows[w + 1].from_rpm) : x.end;
      svg += fmt::format(
          "<rect x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\" fill=\"{}\" class=\"lamp\"/>\n",
          from, y + 2, std::max(to - from, 0.5), row - 4, fill);
    }
  }
  return svg;
}

std::string settings_drawing(const ComparisonRecord& record) {
  const Gauge& before = record.before.gauge;
  const Gauge& after = record.after.gauge;
  Gauge both = before;
  both.lamps.insert(both.lamps.end(), after.lamps.begin(), after.lamps.end());
  const Palette palette(both);
  const Scale x = rpm_scale(record);
  constexpr double row = 16, top = 22, gap = 74;
  const double first_end = top + row * static_cast<double>(before.lamps.size());
  const double second = first_end + gap;
  const double end = second + row * static_cast<double>(after.lamps.size());

  std::string svg = palette.definitions();
  svg += fmt::format(
      "<div class=\"scroll\"><svg viewBox=\"0 0 {} {}\" role=\"img\"><title>What the settings demand, "
      "before and after</title>\n",
      width, end + 34);
  svg += settings_strips(before, palette, x, "before", top, row);
  svg += settings_strips(after, palette, x, "after", second, row);
  std::size_t level = 0;
  std::string names;  // above the lines of their neighbours
  for (const WindowChange& w : settings_change(before, after).windows) {
    if (w.before && *w.before > 0)
      svg += svg_line({x(w.from_rpm.before), top}, {x(w.from_rpm.before), first_end}, "axis");
    if (w.after && *w.after > 0)
      svg += svg_line({x(w.from_rpm.after), second}, {x(w.from_rpm.after), end}, "axis");
    if ((w.before && *w.before == 0) || (w.after && *w.after == 0)) continue;
    if (w.before && w.after)
      svg += svg_line({x(w.from_rpm.before), first_end}, {x(w.from_rpm.after), second},
                      w.moved() ? "rpm" : "leader");
    const double at = w.after ? x(w.from_rpm.after) : x(w.from_rpm.before);
    const double y = w.after ? second - 6 : first_end + 12;
    names += svg_text({at + 3, y - 12 * static_cast<double>(level++ % 4)},
                      w.name + (w.after ? (w.before ? "" : " (new)") : " (gone)"),
                      w.moved() ? "strong over" : "small over");
  }
  svg += names;
  const Ticks ticks = round_ticks(x.from, x.to, 10);
  for (const double rpm : ticks.values)
    svg += svg_line({x(rpm), end}, {x(rpm), end + 5}, "axis") +
           svg_text({x(rpm), end + 18}, fixed(rpm, ticks.decimals), "small", Anchor::middle);
  svg += svg_line({x.start, end}, {x.end, end}, "axis") + svg_text({width / 2, end + 32}, "rpm", "small");
  return svg + "</svg></div>\n";
}

// Every row with numbers: observed minus expected, in units of its uncertainty.
std::string agreement_drawing(const Comparison& comparison) {
  constexpr double row = 17, top = 24, label = 200, end_x = 335, whole = 420,
                   most = 5;  // read on a phone too
  std::vector<const ComparisonItem*> rows;
  for (const ComparisonItem& i : comparison.items)
    if (std::isfinite(i.e_n)) rows.push_back(&i);
  if (rows.empty()) return "";
  const double height = top + row * static_cast<double>(rows.size()) + 22;
  const Scale x{-most - 0.5, most + 0.5, label, end_x};
  std::string svg = fmt::format(
      "<div class=\"scroll narrow\"><svg viewBox=\"0 0 {} {}\" role=\"img\"><title>Observed minus expected "
      "change, in units of its uncertainty</title>\n",
      whole, height);
  const double end = height - 22;
  svg += svg_rect({x(-1), top - 6}, x(1) - x(-1), end - top + 6, "band");
  for (const double limit : {-comparison.en_limit, comparison.en_limit})
    if (comparison.en_limit > 1) svg += svg_line({x(limit), top - 6}, {x(limit), end}, "limit");
  svg += svg_line({x(0), top - 6}, {x(0), end}, "axis");
  double y = top + 6;
  for (const ComparisonItem* i : rows) {
    const double score = (i->observed_change - i->expected_change) / i->uncertainty;
    const double at = x(std::clamp(score, -most, most));
    svg +=
        svg_text({label - 8, y + 4}, shortened(i->boundary + " " + row_title(*i), 32), "small", Anchor::end);
    svg += svg_line({x.start, y}, {x.end, y}, "grid");
    svg += svg_rect({at - 3.5, y - 3.5}, 7, 7, i->word == ChangeWord::as_intended ? "point" : "mark");
    if (i->word != ChangeWord::as_intended)
      svg += svg_text({x.end + 6, y + 4}, std::string(word(i->word)) + (std::fabs(score) > most ? " >>" : ""),
                      "strong");
    y += row;
  }
  for (int tick = -4; tick <= 4; tick += 2)
    svg += svg_text({x(tick), height - 6}, std::to_string(tick), "small", Anchor::middle);
  return svg + "</svg></div>\n";
}

std::string items_table(const Comparison& comparison) {
  std::string html =
      "<div class=\"scroll stacked\"><table>\n<thead><tr><th>boundary or window</th><th>change of</th><th "
      "class=\"n\">expected</th><th class=\"n\">observed</th><th class=\"n\">U</th><th>in</th><th "
      "class=\"n\">|E_n|</th>"
      "<th>word</th></tr></thead>\n<tbody>\n";
  for (const ComparisonItem& i : comparison.items) {
    const char* const style = i.word == ChangeWord::as_intended   ? ""
                              : i.word == ChangeWord::cannot_tell ? "undecided"
                                                                  : "fail";
    std::string told(word(i.word));
    std::replace(told.begin(), told.end(), '-', ' ');
    if (*style != '\0') told = fmt::format("<b class=\"{}\">{}</b>", style, told);
    if (!i.remark.empty()) told += " " + escaped(i.remark);
    html += fmt::format(
        "<tr><td>{}</td><td>{}</td><td class=\"n\" data-of=\"expected\">{}</td><td class=\"n\" "
        "data-of=\"observed\">{}</td><td class=\"n\" data-of=\"U\">{}</td><td>{}</td>"
        "<td class=\"n\" data-of=\"|E_n|\">{}</td><td class=\"m\">{}</td></tr>\n",
        escaped(i.boundary), escaped(row_title(i)), row_number(i, i.expected_change),
        row_number(i, i.observed_change), html_number(i.uncertainty, decimals_for(i.uncertainty)), i.unit,
        html_number(i.e_n, 2), told);
  }
  return html + "</tbody></table></div>\n";
}

std::string run_facts(const RunRecord& run, const std::string& name) {
  Facts facts;
  facts.add("Run", name);
  facts.add("Report", run.report_id);
  facts.add("Unit", run.unit_serial);
  facts.add("Started", run.started);
  facts.add("Gauge", run.gauge_name);
  facts.add("Scenario", run.scenario_name);
  facts.add("Verdict", std::string(word(run.result.verdict)) + (run.result.complete ? "" : ", not complete"));
  facts.add_code("Gauge file", run.gauge_sha256);
  return facts.html();
}

std::string list_html(const std::vector<std::string>& sentences) {
  std::string html = "<ul>\n";
  for (const std::string& sentence : sentences) html += "<li>" + escaped(sentence) + "</li>\n";
  return html + "</ul>\n";
}

}  // namespace

std::string comparison_html(const ComparisonRecord& record) {
  const Comparison& comparison = record.comparison;
  const std::string answer = comparison_answer(record);
  const std::size_t colon = answer.find(':');
  std::string body, style;
  if (on_simulated_unit(record.before) || on_simulated_unit(record.after))
    body = simulated_banner(), style = simulated_style();
  body += fmt::format(
      "<h1>Tachproof comparison: <b>{}</b></h1>\n<div "
      "class=\"verdict {}\"><strong>{}</strong><div><p>{}</p></div></div>\n",
      escaped(record.after.gauge_name), word(comparison.verdict), answer.substr(0, colon),
      escaped(answer.substr(std::min(colon + 2, answer.size()))));
  body += "<h2>Before</h2>\n" + run_facts(record.before, record.before_name);
  if (!record.accepted.empty()) body += "<p>" + escaped(record.accepted) + "</p>\n";
  body += "<h2>After</h2>\n" + run_facts(record.after, record.after_name);
  if (!comparison.notes.empty()) body += "<h2>Notes</h2>\n" + list_html(comparison.notes);
  std::vector<std::string> said = sentences(settings_change(record.before.gauge, record.after.gauge));
  if (said.empty()) said.emplace_back("nothing: the settings are the same");
  body += "<h2>What should change</h2>\n" + list_html(said) + "<figure>" + settings_drawing(record) +
          "<figcaption>What the settings demand of each lamp. Thick lines: boundaries that "
          "move.</figcaption></figure>\n";
  body +=
      "<h2>What did change</h2>\n<figure>" + agreement_drawing(comparison) +
      fmt::format(
          "<figcaption>Observed minus expected change, divided by its U. Grey band: they agree, |E_n| ≤ 1. "
          "Dotted lines: with so many rows, chance hardly goes beyond {}. Filled: not as "
          "intended.</figcaption></figure>\n",
          fixed(comparison.en_limit, 2));
  body += items_table(comparison);
  body +=
      "<p>U: expanded uncertainty of the observed change, for a coverage of 95 %. |E_n|: the difference "
      "between "
      "observed and expected change, divided by U (ISO/IEC 17043). A row is as intended when difference and "
      "U "
      "together are within the tolerance, and a change that should be there is larger than its U.</p>\n";
  return chart_page("Tachproof comparison: " + answer.substr(0, colon) + ", " + record.after.gauge_name, body,
                    style);
}

}  // namespace tachproof
