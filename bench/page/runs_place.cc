// Runs: a list with filters in the address.
#include <fmt/format.h>

#include <algorithm>
#include <unordered_set>

#include "bench/commands/report_options.h"
#include "bench/files/dates.h"
#include "bench/history/run_list.h"
#include "bench/page/frame.h"
#include "bench/page/pieces.h"
#include "bench/page/places.h"
#include "bench/page/run_folders.h"
#include "bench/page/run_page.h"
#include "bench/record/text.h"

namespace tachproof {
namespace {

constexpr std::size_t runs_a_page = 50;
constexpr std::size_t most_by_name = 50;  // runs that are in no history, and suites

RunListFilter run_filter_of(const Fields& query) {
  RunListFilter filter;
  filter.unit = query.get("unit");
  filter.gauge = query.get("gauge");
  filter.scenario = query.get("scenario");
  filter.verdict = query.get("verdict");
  filter.since = query.get("since");
  filter.find = query.get("find");
  return filter;
}

std::string filter_trouble(const RunListFilter& filter) {
  if (!filter.since.empty() && !is_date(filter.since))
    return "'" + filter.since + "' is no day: write a date as YYYY-MM-DD, such as 2031-03-14.";
  if (!filter.verdict.empty() && filter.verdict != word(Verdict::pass) &&
      filter.verdict != word(Verdict::fail) && filter.verdict != word(Verdict::undecided))
    return "'" + filter.verdict + "' is no verdict: it is pass, fail or undecided.";
  return {};
}

std::string filter_form(const RunListFilter& filter, const std::vector<std::string>& gauges,
                        const std::vector<std::string>& scenarios) {
  return "<form class=\"filters\" role=\"search\" aria-label=\"Runs\">\n" +
         text_field("find", "Find", filter.find) + text_field("unit", "Serial number", filter.unit) +
         choice_field("gauge", "Gauge", "any", gauges, filter.gauge) +
         choice_field("scenario", "Played", "anything", scenarios, filter.scenario) +
         choice_field("verdict", "Verdict", "any",
                      {std::string(word(Verdict::pass)), std::string(word(Verdict::fail)),
                       std::string(word(Verdict::undecided))},
                      filter.verdict) +
         text_field("since", "Since", filter.since, " type=\"date\"") +
         "<button>Show</button> <a href=\"/runs\">All runs</a></form>\n";
}

std::string cell(const char* of, const std::string& html) {
  return fmt::format("<td data-of=\"{}\">{}</td>", of, html);
}

// A row's first cell: its tick and its address.
std::string first_cells(const Shop& shop, const std::string& name, const std::string& when,
                        const std::string& of_whom) {
  const std::string said = when.empty() ? name : when;
  if (!shop.run_folder(name))
    return "<td></td>" + cell("begun", escaped(said) + " <small>(its folder is gone)</small>");
  return fmt::format(
             "<td class=\"tick\"><input type=\"checkbox\" name=\"run\" value=\"{}\" aria-label=\"{}\"></td>",
             escaped(name), escaped("Compare the run of " + said + (of_whom.empty() ? "" : ", " + of_whom))) +
         cell("begun", fmt::format("<a href=\"{}\">{}</a>", run_address(name), escaped(said)));
}

std::string listed_row(const Shop& shop, const ListedRun& run) {
  const std::string name = run.folder.substr(std::min(shop.runs().string().size() + 1, run.folder.size()));
  std::string cause = escaped(run.cause);
  if (run.more_causes > 0) cause += fmt::format(" <small>or {} more</small>", run.more_causes);
  const std::string unit =
      run.unit.empty() ? "no serial number"
                       : fmt::format("<a href=\"{}\">{}</a>", unit_address(run.unit), escaped(run.unit));
  return "<tr>" + first_cells(shop, name, clock_words(run.started), run.unit) + cell("unit", unit) +
         cell("gauge", escaped(run.gauge)) + cell("played", escaped(run.scenario)) +
         cell("verdict", verdict_mark(run.verdict, run.simulated)) + cell("cause", cause) + "</tr>\n";
}

constexpr const char* table_head =
    "<div class=\"scroll\"><table class=\"runs\">\n<thead><tr><th><span class=\"hidden\">Compare</span></th>"
    "<th>begun</th><th>unit</th><th>gauge</th><th>played</th><th>verdict</th><th>cause</th></tr></thead>\n"
    "<tbody>\n";

// Runs that no history has: their names are all that is known without reading them.
std::string rows_by_name(const Shop& shop, const FolderNames& names, const RunListFilter& filter,
                         std::size_t& count) {
  std::string rows;
  for (const std::string& name : names.runs) {
    if (!filter.find.empty() && name.find(filter.find) == name.npos) continue;
    const std::string when = moment_in_name(name);
    if (!filter.since.empty() && when.substr(0, 10) < filter.since) continue;
    if (++count > most_by_name) continue;
    rows += "<tr>" + first_cells(shop, name, when, name) + cell("name", escaped(name)) + "</tr>\n";
  }
  return rows;
}

std::string by_name_html(const Shop& shop, const FolderNames& names, const RunListFilter& filter, bool away) {
  std::string html;
  std::size_t count = 0;
  const std::string rows = rows_by_name(shop, names, filter, count);
  const std::string head =
      away ? fmt::format("<h2>By name</h2>\n<p>{} {} in the folder. Open one to see its verdict.", count,
                         count == 1 ? "run is" : "runs are")
           : fmt::format(
                 "<h2>In no history</h2>\n<p>{} {} not in the history, so that only the folder's name is "
                 "known "
                 "here. Open one to see its verdict; <code>tachproof history --add</code> adds it.",
                 count, count == 1 ? "run is" : "runs are");
  if (count > 0)
    html += fmt::format(
        "{}{}</p>\n"
        "<div class=\"scroll\"><table class=\"runs\">\n<thead><tr><th><span "
        "class=\"hidden\">Compare</span></th>"
        "<th>begun</th><th>name</th></tr></thead>\n<tbody>\n{}</tbody></table></div>\n",
        head,
        count > most_by_name
            ? fmt::format(" These are the newest {}: find the others by their name.", most_by_name)
            : "",
        rows);
  return html;
}

std::string suites_html(const FolderNames& names, const RunListFilter& filter) {
  std::string rows;
  std::size_t count = 0;
  for (const std::string& name : names.suites)
    if ((filter.find.empty() || name.find(filter.find) != name.npos) && ++count <= most_by_name)
      rows += fmt::format("<li><a href=\"{}\">{}</a></li>\n", run_address(name), escaped(name));
  return count == 0 ? ""
                    : fmt::format(
                          "<h2>Suites</h2>\n<p>{} {}: each plays many pairs of a gauge and a scenario.</p>\n"
                          "<ul>\n{}</ul>\n",
                          count, count == 1 ? "suite" : "suites", rows);
}

HistoryPlace history_of(const TileSettings& settings) {
  return settings.no_history ? HistoryPlace() : history_place(settings.history);
}

// What the history says of the shop's runs. A server may be away, a file may be damaged: then `away` says so,
// and the rest is empty.
struct Told {
  std::vector<std::string> gauges, scenarios;
  std::size_t count = 0, pages = 0, page = 1;
  std::string rows, away;
  std::unordered_set<std::string> known;  // names of folders
};

void ask(const RunList& list, const Shop& shop, const Request& request, const RunListFilter& filter,
         bool by_name, Told& told) {
  told.gauges = list.gauges();
  told.scenarios = list.scenarios();
  told.count = list.count(filter);
  told.pages = (told.count + runs_a_page - 1) / runs_a_page;
  told.page = page_asked_for(request.query, told.pages);
  if (told.count > 0)
    for (const ListedRun& run : list.runs(filter, runs_a_page, (told.page - 1) * runs_a_page))
      told.rows += listed_row(shop, run);
  if (!by_name || told.page != 1) return;
  const std::string& runs = filter.beneath;
  for (const std::string& folder : list.folders(runs)) told.known.insert(folder.substr(runs.size() + 1));
}

Told told_of(const TileSettings& settings, const Shop& shop, const Request& request,
             const RunListFilter& filter, bool by_name) {
  Told told;
  try {
    const HistoryPlace place = history_of(settings);
    if (place.may_be_there()) ask(RunList(place), shop, request, filter, by_name, told);
  } catch (const std::runtime_error& e) {
    told = {};
    told.away = e.what();
  }
  return told;
}

Response runs_list(const Shop& shop, RunFolders& folders, const TileSettings& settings,
                   const Request& request) {
  RunListFilter filter = run_filter_of(request.query);
  const std::string trouble = filter_trouble(filter);
  filter.beneath = shop.runs().string();
  // What only its name tells cannot be asked for its unit, gauge, scenario or verdict.
  const bool by_name =
      filter.unit.empty() && filter.gauge.empty() && filter.scenario.empty() && filter.verdict.empty();
  const Told told = trouble.empty() ? told_of(settings, shop, request, filter, by_name) : Told();
  std::string body = "<h1>Runs</h1>\n" + filter_form(filter, told.gauges, told.scenarios);
  Response response;
  if (!trouble.empty()) {
    response.status = 400;
    response.body =
        framed_page("/runs", "Runs",
                    body + fmt::format("<p class=\"trouble\" role=\"alert\">{}</p>\n", escaped(trouble)));
    return response;
  }
  const bool away = !told.away.empty();
  body += away ? history_away_html(history_of(settings), told.away)
               : fmt::format("<p role=\"status\">{} {}{}.</p>\n", told.count,
                             told.count == 1 ? "run" : "runs", filter.any() ? " as asked for" : "");
  body += "<form action=\"/runs/compare\">\n";
  if (told.count > 0) body += table_head + told.rows + "</tbody></table></div>\n";
  FolderNames names;
  if (by_name && told.page == 1)
    names = folders.names(away ? HistoryPlace() : history_of(settings), [&] { return told.known; });
  body += by_name_html(shop, names, filter, away);
  if (told.count + names.runs.size() > 1)
    body += "<div class=\"keys\"><button>Compare the two that are ticked</button></div>\n";
  body +=
      "</form>\n" + pager_html("/runs", request.query, told.page, told.pages) + suites_html(names, filter);
  response.body = framed_page("/runs", "Runs", body);
  return response;
}

}  // namespace

void add_runs_routes(Router& router, const Shop& shop, const TileSettings& settings,
                     const std::shared_ptr<Errands>& errands) {
  const auto folders = std::make_shared<RunFolders>(shop);
  router.on("GET", "/runs", [&shop, folders, settings](const Request& request) {
    return runs_list(shop, *folders, settings, request);
  });
  add_run_page_routes(router, shop, settings, errands);
}

}  // namespace tachproof
