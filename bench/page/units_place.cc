// Units: who was tested, with what verdict, how each one's boundaries drift, and how the units of a gauge
// spread; from the history.
#include <fmt/format.h>

#include <algorithm>
#include <chrono>

#include "bench/commands/report_options.h"
#include "bench/files/dates.h"
#include "bench/history/drift_drawing.h"
#include "bench/history/history.h"
#include "bench/history/run_list.h"
#include "bench/history/trends.h"
#include "bench/page/frame.h"
#include "bench/page/pieces.h"
#include "bench/page/places.h"
#include "bench/record/record.h"
#include "bench/record/text.h"

namespace tachproof {
namespace {

constexpr std::size_t units_a_page = 50;
constexpr std::size_t runs_in_small = 30;     // of the small picture
constexpr std::size_t runs_in_drift = 400;    // of a unit's own page
constexpr std::size_t runs_in_spread = 4000;  // of all units of a gauge
constexpr std::size_t runs_in_table = 20;

// Nothing where there is none, or none yet.
std::optional<HistoryPlace> history_to_read(const TileSettings& settings) {
  if (settings.no_history) return std::nullopt;
  const HistoryPlace place = history_place(settings.history);
  if (!place.may_be_there()) return std::nullopt;
  return place;
}

Response units_page(const std::string& title, const std::string& body, unsigned status = 200) {
  Response response = plain_text(framed_page("/units", title, body), html_type);
  response.status = status;
  return response;
}

// Whole days from one date to the other, both YYYY-MM-DD; nothing where one is none.
std::optional<long> days_between(const std::string& from, const std::string& to) {
  if (!is_date(from) || !is_date(to)) return std::nullopt;
  const auto day = [](const std::string& date) {
    using namespace std::chrono;
    return sys_days(year(std::stoi(date.substr(0, 4))) / std::stoi(date.substr(5, 2)) /
                    std::stoi(date.substr(8, 2)));
  };
  return (day(to) - day(from)).count();
}

std::string how_long_ago(const std::string& day) {
  const std::optional<long> days = days_between(day, now_iso8601().substr(0, 10));
  if (!days) return escaped(day);
  if (*days == 0) return "today";
  if (*days == 1) return "yesterday";
  return *days < 0 ? escaped(day) : fmt::format("{} days ago", *days);
}

std::string in_software(const std::string& unit) {
  const std::string address = unit_address(unit);
  return address + (address.find('?') == address.npos ? "?" : "&amp;") + "simulated=yes";
}

std::string unit_row(const RunList& list, const ListedUnit& unit) {
  const std::string drawing = small_drift_drawing(
      drifts(list.measured({unit.unit, unit.last.gauge, {}, unit.simulated}, runs_in_small)), unit.unit);
  return fmt::format(
      "<tr><td data-of=\"unit\"><a href=\"{}\">{}</a></td><td data-of=\"gauge\">{}</td><td "
      "data-of=\"verdict\">{}</td><td class=\"n\" data-of=\"runs\">{}</td><td data-of=\"last\"><span "
      "title=\"{}\">{}</span></td><td data-of=\"drift\">{}</td></tr>\n",
      unit.simulated ? in_software(unit.unit) : unit_address(unit.unit), escaped(unit.unit),
      escaped(unit.last.gauge), verdict_mark(unit.last.verdict, unit.simulated),
      unit.runs == 1 ? "1 run" : fmt::format("{} runs", unit.runs), escaped(unit.last_day),
      how_long_ago(unit.last_day), drawing.empty() ? "not measured" : drawing);
}

std::string spread_of(const RunList& list, const RunList::UnitFilter& filter) {
  if (filter.gauge.empty()) return "<p>Choose a gauge to see how its units spread, with Cpk.</p>\n";
  const std::vector<HistoryRun> runs =
      list.measured({{}, filter.gauge, {}, filter.simulated}, runs_in_spread);
  const std::string html = spreads_html(spreads(drifts(runs)));
  if (html.empty()) return {};
  return html + (runs.size() < runs_in_spread
                     ? ""
                     : fmt::format("<p>From the newest {} runs of this gauge.</p>\n", runs_in_spread));
}

std::string unit_filters(const RunList& list, const RunList::UnitFilter& filter) {
  return "<form class=\"filters\" role=\"search\" aria-label=\"Units\">\n" +
         text_field("find", "Serial number", filter.find) +
         choice_field("gauge", "Gauge", "any", list.gauges(), filter.gauge) +
         fmt::format(
             "<span class=\"field\"><label><input type=\"checkbox\" name=\"simulated\" value=\"yes\"{}> "
             "units in software</label></span>\n",
             filter.simulated ? " checked" : "") +
         "<button>Show</button> <a href=\"/units\">All units</a></form>\n";
}

Response units_list(const HistoryPlace& place, const Request& request) {
  const RunList list(place);
  RunList::UnitFilter filter{request.query.get("gauge"), request.query.get("find"),
                             request.query.get("simulated") == "yes"};
  const std::size_t count = list.count(filter), pages = (count + units_a_page - 1) / units_a_page;
  const std::size_t page = page_asked_for(request.query, pages);
  RunList::UnitFilter other = filter;
  other.simulated = !filter.simulated;
  const std::size_t others = list.count(other);
  std::string body = "<h1>Units</h1>\n" + unit_filters(list, filter) +
                     fmt::format("<p role=\"status\">{} {}{}.", count, count == 1 ? "unit" : "units",
                                 filter.simulated ? " in software: they say nothing of real ones" : "");
  if (others > 0 && !filter.simulated)
    body += fmt::format(
        " <a href=\"/units?simulated=yes&amp;gauge={}&amp;find={}\">{} in software</a> {} left out.",
        url_encoded(filter.gauge), url_encoded(filter.find), others, others == 1 ? "is" : "are");
  body += "</p>\n";
  if (count > 0) {
    body +=
        "<div class=\"scroll\"><table class=\"runs\">\n<thead><tr><th>unit</th><th>gauge</th><th>last "
        "verdict</th>"
        "<th class=\"n\">runs</th><th>last run</th><th>drift</th></tr></thead>\n<tbody>\n";
    for (const ListedUnit& unit : list.units(filter, units_a_page, (page - 1) * units_a_page))
      body += unit_row(list, unit);
    body +=
        "</tbody></table></div>\n<p class=\"about\">Drift: every boundary of the unit over its last runs. "
        "The band "
        "is what is allowed.</p>\n";
  }
  return units_page("Units",
                    body + pager_html("/units", request.query, page, pages) + spread_of(list, filter));
}

// The unit's runs in a few lines; those beneath the shop's folder have a page.
std::string unit_runs_html(const RunList& list, const std::string& unit, const Shop& shop) {
  RunListFilter filter;
  filter.unit = unit;
  const std::size_t count = list.count(filter);
  const std::string beneath = shop.runs().string() + "/";
  std::string rows;
  for (const ListedRun& run : list.runs(filter, runs_in_table, 0)) {
    const std::string when = escaped(clock_words(run.started));
    const std::string name = run.folder.starts_with(beneath) ? run.folder.substr(beneath.size()) : "";
    rows += fmt::format(
        "<tr><td data-of=\"begun\">{}</td><td data-of=\"gauge\">{}</td><td data-of=\"played\">{}</td><td "
        "data-of=\"verdict\">{}</td><td data-of=\"cause\">{}</td></tr>\n",
        name.empty() ? when : fmt::format("<a href=\"{}\">{}</a>", run_address(name), when),
        escaped(run.gauge), escaped(run.scenario), verdict_mark(run.verdict, run.simulated),
        escaped(run.cause));
  }
  return fmt::format(
      "<h2>Its runs</h2>\n<p>{} {}{}. <a href=\"/runs?unit={}\">Find and compare them</a></p>\n<div "
      "class=\"scroll\"><table class=\"runs\">\n<thead><tr><th>begun</th><th>gauge</th><th>played</th>"
      "<th>verdict</th><th>cause</th></tr></thead>\n<tbody>\n{}</tbody></table></div>\n",
      count, count == 1 ? "run" : "runs",
      count > runs_in_table ? fmt::format("; these are the newest {}", runs_in_table) : "", url_encoded(unit),
      rows);
}

std::string unit_drifts_html(const std::vector<Drift>& all, bool simulated) {
  if (all.empty()) return {};
  std::string html =
      "<h2>Drift</h2>\n<p>Deviation of each boundary from its nominal rpm, with its U as a bar. Grey: what "
      "is "
      "allowed. A dotted line across: the settings changed there, and the line is broken. A change counts as "
      "movement when it is greater than its own U. Times are UTC.</p>\n";
  std::string gauge;
  for (const Drift& d : all) {
    if (gauge != d.gauge || html.ends_with("</p>\n")) {
      if (!gauge.empty()) html += "</div>\n";
      gauge = d.gauge;
      html += fmt::format("<h3>{}{}</h3>\n<div class=\"pairs\">\n", escaped(gauge),
                          simulated ? ": SIMULATED" : "");
    }
    html += "<figure>" + drift_drawing(d) + "<figcaption>" + change_words(d) + "</figcaption></figure>\n";
  }
  return html + "</div>\n";
}

std::string unit_filters(const std::string& since, bool simulated) {
  return "<form class=\"filters\">\n" + text_field("since", "Since", since, " type=\"date\"") +
         fmt::format(
             "<span class=\"field\"><label><input type=\"checkbox\" name=\"simulated\" value=\"yes\"{}> "
             "runs of one in software, in place of the real "
             "one’s</label></span>\n<button>Show</button></form>\n",
             simulated ? " checked" : "");
}

Response unit_page(const HistoryPlace& place, const Shop& shop, const std::string& unit,
                   const Request& request) {
  const RunList list(place);
  const bool simulated = request.query.get("simulated") == "yes";
  const std::string since = request.query.get("since");
  RunListFilter of_unit;
  of_unit.unit = unit;
  const std::vector<ListedRun> last = list.runs(of_unit, 1, 0);
  if (last.empty()) return not_found("There is no unit " + unit + " in the history.");
  std::string body = fmt::format("<h1>Unit {}</h1>\n<p class=\"reason\">{} {}: {}, {}.</p>\n", escaped(unit),
                                 verdict_mark(last[0].verdict, last[0].simulated),
                                 how_long_ago(last[0].started.substr(0, 10)), escaped(last[0].gauge),
                                 escaped(last[0].scenario));
  if (const auto reference = History(place, History::Open::existing).reference(unit))
    body += fmt::format("<p>Its reference: <code>{}</code>, accepted by {} on {}: {}</p>\n",
                        escaped(reference->folder), escaped(reference->acceptance.who),
                        escaped(clock_words(reference->acceptance.at)), escaped(reference->acceptance.why));
  body += unit_filters(since, simulated);
  if (!since.empty() && !is_date(since))
    return units_page(
        "Unit " + unit,
        body + fmt::format("<p class=\"trouble\" role=\"alert\">'{}' is no day: write a date as "
                           "YYYY-MM-DD, such as 2031-03-14.</p>\n",
                           escaped(since)),
        400);
  const std::vector<HistoryRun> runs = list.measured({unit, {}, since, simulated}, runs_in_drift);
  const std::size_t left_out = list.measured({unit, {}, since, !simulated}, runs_in_drift).size();
  if (!simulated && left_out > 0)
    body +=
        fmt::format("<p>{} SIMULATED {} left out of the drift: <a href=\"{}\">show {}</a>.</p>\n", left_out,
                    left_out == 1 ? "run is" : "runs are", in_software(unit), left_out == 1 ? "it" : "them");
  if (simulated)
    body +=
        "<p class=\"simulated\"><b>SIMULATED</b> A unit in software: this says nothing of a real one.</p>\n";
  if (runs.empty()) body += "<p>No complete run has measured a boundary of this unit.</p>\n";
  if (runs.size() == runs_in_drift)
    body += fmt::format("<p>The newest {} runs are drawn.</p>\n", runs_in_drift);
  return units_page("Unit " + unit,
                    body + unit_drifts_html(drifts(runs), simulated) + unit_runs_html(list, unit, shop));
}

}  // namespace

void add_units_routes(Router& router, const Shop& shop, const TileSettings& settings) {
  const auto with_history = [settings](auto answer) {
    return [settings, answer](const Request& request) {
      const std::optional<HistoryPlace> place = history_to_read(settings);
      if (!place) return units_page("Units", "<h1>Units</h1>\n<p>No run is in the history yet.</p>\n");
      try {
        return answer(*place, request);
      } catch (const std::runtime_error& e) {
        return units_page("Units", "<h1>Units</h1>\n" + history_away_html(*place, e.what()), 503);
      }
    };
  };
  router.on("GET", "/units", with_history([&shop](const HistoryPlace& place, const Request& request) {
              const std::string unit = request.query.get("unit");
              return unit.empty() ? units_list(place, request) : unit_page(place, shop, unit, request);
            }));
  // A serial number may have slashes.
  std::string pattern = "/units";
  for (int depth = 1; depth <= 4; ++depth) {
    pattern += "/*";
    router.on("GET", pattern, with_history([&shop](const HistoryPlace& place, const Request& request) {
                std::string unit = request.parts[0];
                for (std::size_t i = 1; i < request.parts.size(); ++i) unit += "/" + request.parts[i];
                return unit_page(place, shop, unit, request);
              }));
  }
}

}  // namespace tachproof
