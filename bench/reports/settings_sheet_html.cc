#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "bench/reports/facts.h"
#include "bench/reports/page.h"
#include "bench/reports/settings_sheet.h"
#include "core/base/rpm.h"
#include "core/base/words.h"
#include "core/gauge/button_words.h"
#include "core/gauge/settings_sheet.h"

namespace tachproof {
namespace {

// For the wall of the bench: rows to be ticked with a pen, and room for who did it.
constexpr const char* sheet_style = R"css(
@page { margin: 12mm 12mm 12mm 16mm; }
h2 { margin: 1.1rem 0 .3rem; break-inside: avoid; }
.tick { width: 1.7rem; padding-right: .6rem; }
.tick span { display: inline-block; width: .95rem; height: .95rem; border: 1.3px solid #111; vertical-align: -.12rem; }
.set { font-size: 1.15em; font-weight: bold; text-align: right; white-space: nowrap; }
.set + .w, .set + .m { padding-left: .8rem; }
td.m { min-width: 9.5rem; overflow-wrap: normal; }
@media screen and (max-width: 44rem) { .scroll > table { min-width: 44rem; } }
@media print {
  body { font-size: 8.6pt; line-height: 1.3; }
  h2 { margin-top: .55rem; padding-top: .2rem; font-size: 1.05rem; }
  dl, p, .scroll { margin: .25rem 0; }
  th, td { padding-top: .1rem; padding-bottom: .1rem; }
  .tick span { width: .8rem; height: .8rem; }
  .sign { margin-top: .6rem; } .sign span { height: 1.7rem; }
}
)css";

std::string bare_row(const std::string& cells) {
  return "<tr><td class=\"tick\"><span></span></td>" + cells + "</tr>\n";
}
std::string cell(const char* style, const std::string& text) {
  return fmt::format("<td class=\"{}\">{}</td>", style, escaped(text));
}
std::string rpm_number(double rpm) { return number_text(hundredths(rpm)); }

std::string signed_rpm(double offset) {
  return offset < 0 ? "−" + rpm_number(-offset) : "+" + rpm_number(offset);
}

class SheetPage {
 public:
  explicit SheetPage(const SheetOf& of) : of_(of), gauge_(of.gauge), sheet_(settings_sheet(of.gauge)) {}

  // A section for each kind of setting, in the order in which a unit is set up.
  std::string page() const {
    return html_page(gauge_.name + ": settings", sheet_style,
                     head() + signal() + anchors() + windows() + count_ins() + buttons() + foot());
  }

 private:
  std::string means(const SheetRpm& at) const {
    if (!gauge_.drive) return "";
    return cell("w", at.speed ? speed_words(*at.speed, gauge_.drive->said_in) : "–");
  }
  std::string means_head() const { return gauge_.drive ? "<th>which means</th>" : ""; }

  static std::string table(const std::string& heading, const std::string& head, const std::string& rows) {
    if (rows.empty()) return "";
    return fmt::format(
        "<h2>{}</h2>\n<div class=\"scroll\"><table><thead><tr><th "
        "class=\"tick\"></th>{}</tr></thead>\n<tbody>\n{}</tbody></table></div>\n",
        heading, head, rows);
  }

  std::string head() const {
    return fmt::format("<h1>Tachproof settings sheet: <b>{}</b></h1>\n<p>{}, SHA-256 <code>{}</code></p>\n",
                       escaped(gauge_.name), escaped(of_.file), escaped(of_.sha256.substr(0, 16)));
  }

  std::string signal() const {
    Facts facts;
    facts.add("Pulses per rev", number_text(gauge_.pulses_per_rev));
    if (gauge_.resolution_rpm > 0) facts.add("Steps of", number_text(gauge_.resolution_rpm) + " rpm");
    facts.add("Deadband", fmt::format("{} rpm, {}", number_text(gauge_.deadband.rpm),
                                      gauge_.deadband.rpm == 0 ? "none" : words_of(gauge_.deadband.sits)));
    if (gauge_.blink)
      facts.add("Blink", fmt::format("{} Hz, lit {} % of the time", number_text(gauge_.blink->hz),
                                     number_text(100 * gauge_.blink->duty)));
    if (gauge_.power_up) {
      facts.add("Wakes within", fmt::format("{} to {} ms", number_text(to_ms(gauge_.power_up->boot_from)),
                                            number_text(to_ms(gauge_.power_up->boot_to))));
      if (gauge_.power_up->greets)
        facts.add("Greets with", fmt::format("{} for {} ms", gauge_.describe(gauge_.power_up->greets->cue),
                                             number_text(to_ms(gauge_.power_up->greets->lasts))));
    }
    if (gauge_.supply)
      facts.add("Is fed", fmt::format("{} to {} V", number_text(gauge_.supply->lowest_v),
                                      number_text(gauge_.supply->highest_v)));
    if (gauge_.drive) facts.add("Drive", drive_words(*gauge_.drive), true);
    return facts.html();
  }

  std::string anchors() const {
    std::string rows;
    for (const SheetAnchor& a : sheet_.anchors)
      rows += bare_row(cell("w", a.name) + cell("set", rpm_number(a.at.rpm)) + cell("w", a.at.written) +
                       means(a.at));
    return table("Anchors", "<th>anchor</th><th class=\"n\">set, rpm</th><th>written as</th>" + means_head(),
                 rows);
  }

  std::string windows() const {
    std::string rows;
    for (const SheetWindow& w : sheet_.windows) {
      const bool hangs = !w.anchor.empty();
      rows += bare_row(
          cell("w", w.name) + cell("set", hangs ? signed_rpm(w.offset_rpm) : rpm_number(w.from.rpm)) +
          cell("w", (hangs ? "from " + w.anchor : std::string("rpm")) +
                        (w.offset_written.empty() ? "" : " (" + w.offset_written + ")") +
                        (hangs || w.from.written.empty() ? "" : " (" + w.from.written + ")")) +
          cell("n", rpm_number(w.from.rpm)) + cell("n", w.width_rpm ? rpm_number(*w.width_rpm) : "–") +
          means(w.from) + cell("m", w.cue));
    }
    return table("Windows, lowest first",
                 "<th>window</th><th class=\"n\">set</th><th></th><th class=\"n\">begins at, rpm</th><th "
                 "class=\"n\">width, rpm</th>" +
                     means_head() + "<th>shows</th>",
                 rows);
  }

  std::string count_ins() const {
    std::string rows;
    for (const SheetCountIn& c : sheet_.count_ins) {
      std::string offsets;
      for (const double offset : c.offsets_rpm) offsets += (offsets.empty() ? "" : ", ") + signed_rpm(offset);
      rows += bare_row(cell("w", c.ends_at) + cell("set", rpm_number(c.span_rpm)) +
                       cell("n", std::to_string(c.offsets_rpm.size())) +
                       cell("w", c.evenly ? "evenly" : "unevenly") + cell("m", offsets));
    }
    return table(
        "Count-ins",
        "<th>ends at</th><th class=\"n\">span, rpm</th><th class=\"n\">steps</th><th></th><th>at, rpm "
        "from the anchor</th>",
        rows);
  }

  std::string buttons() const {
    std::string rows;
    for (const Button& button : gauge_.buttons)
      rows +=
          bare_row(cell("w", button.name) + cell("m", says_what(button, gauge_)) +
                   cell("w", gauge_.power_up && keeps(*gauge_.power_up, button.name) ? "kept" : "forgotten"));
    return rows.empty() ? "" : table("Buttons", "<th>button</th><th>does</th><th>without supply</th>", rows);
  }

  std::string foot() const {
    std::string text;
    if (gauge_.drive)
      text = fmt::format(
          "<p>± is expanded (k = 2): the tyre’s roll, and the gauge’s tolerance of {} rpm. Speeds are "
          "rounded "
          "down to what the unit can be set to.</p>\n",
          number_text(gauge_.tolerance.rpm));
    return text +
           "<div class=\"sign\"><div><span></span>unit, serial number</div><div><span></span>set "
           "by</div><div><span></span>date</div></div>\n";
  }

  const SheetOf& of_;
  const Gauge& gauge_;
  const SettingsSheet sheet_;
};

void add_speed(Json& row, const SheetRpm& at) {
  if (!at.written.empty()) row["written"] = text_to_json(at.written);
  if (!at.speed) return;
  row["speed_kmh"] = in_unit(at.speed->value, SpeedUnit::kmh);
  row["speed_expanded_uncertainty_kmh"] =
      speed_coverage * in_unit(at.speed->standard_uncertainty, SpeedUnit::kmh);
}

// As in the gauge file, with the unit in the name.
Json button_to_json(const Button& button, const Gauge& gauge) {
  Json row{{"name", text_to_json(button.name)}};
  if (const auto* take = std::get_if<TakeRpm>(&button.does)) {
    row["does"] = "take";
    row["boundary"] = text_to_json(gauge.windows[take->boundary].name);
    row["from_rpm"] = take->lowest_rpm;
    row["to_rpm"] = take->highest_rpm;
  } else if (const auto* peak = std::get_if<ShowPeak>(&button.does)) {
    row["does"] = "show-peak";
    row["for_s"] = to_seconds(peak->lasts);
  } else {
    row["does"] = "dim";
    row["levels"] = Json::array();
    for (const double level : std::get<Dim>(button.does).levels)
      row["levels"].push_back(std::round(1e5 * level) / 1e3);  // per cent
  }
  row["kept_without_supply"] = gauge.power_up && keeps(*gauge.power_up, button.name);
  return row;
}

Json power_up_to_json(const PowerUp& power_up, const Gauge& gauge) {
  Json row{{"boot_from_ms", to_ms(power_up.boot_from)}, {"boot_to_ms", to_ms(power_up.boot_to)}};
  row["greets"] = power_up.greets ? Json{{"shows", text_to_json(gauge.describe(power_up.greets->cue))},
                                         {"for_ms", to_ms(power_up.greets->lasts)}}
                                  : Json(nullptr);
  row["keeps"] = list_of(power_up.keeps, text_to_json);
  return row;
}

}  // namespace

std::string settings_sheet_html(const SheetOf& of) { return SheetPage(of).page(); }

std::string settings_sheet_json(const SheetOf& of) {
  const Gauge& gauge = of.gauge;
  const SettingsSheet sheet = settings_sheet(gauge);
  Json out{{"gauge", {{"name", text_to_json(gauge.name)}, {"sha256", of.sha256}}},
           {"pulses_per_rev", gauge.pulses_per_rev},
           {"resolution_rpm", gauge.resolution_rpm > 0 ? Json(gauge.resolution_rpm) : Json(nullptr)}};
  out["anchors"] = list_of(sheet.anchors, [](const SheetAnchor& a) {
    Json row{{"name", text_to_json(a.name)}, {"rpm", a.at.rpm}};
    add_speed(row, a.at);
    return row;
  });
  out["windows"] = list_of(sheet.windows, [](const SheetWindow& w) {
    Json row{{"name", text_to_json(w.name)}, {"from_rpm", w.from.rpm}};
    add_speed(row, w.from);
    if (!w.anchor.empty()) row["anchor"] = text_to_json(w.anchor);
    if (!w.anchor.empty()) row["offset_rpm"] = w.offset_rpm;
    if (!w.offset_written.empty()) row["offset_written"] = text_to_json(w.offset_written);
    row["width_rpm"] = w.width_rpm ? Json(*w.width_rpm) : Json(nullptr);
    row["shows"] = text_to_json(w.cue);
    return row;
  });
  out["count_ins"] = list_of(sheet.count_ins, [](const SheetCountIn& c) {
    return Json{{"ends_at", text_to_json(c.ends_at)},
                {"span_rpm", c.span_rpm},
                {"evenly", c.evenly},
                {"offsets_rpm", c.offsets_rpm}};
  });
  out["deadband"] = {{"rpm", gauge.deadband.rpm}, {"sits", word(gauge.deadband.sits)}};
  out["blink"] = gauge.blink ? Json{{"hz", gauge.blink->hz}, {"duty", gauge.blink->duty}} : Json(nullptr);
  const auto button_row = [&](const Button& button) { return button_to_json(button, gauge); };
  if (!gauge.buttons.empty()) out["buttons"] = list_of(gauge.buttons, button_row);
  if (gauge.power_up) out["power_up"] = power_up_to_json(*gauge.power_up, gauge);
  if (gauge.supply) out["supply"] = {{"from_v", gauge.supply->lowest_v}, {"to_v", gauge.supply->highest_v}};
  return json_text(out, 2) + "\n";
}

}  // namespace tachproof
