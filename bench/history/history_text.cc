#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bench/history/history_report.h"
#include "bench/record/json_values.h"
#include "bench/record/text.h"

namespace tachproof {
namespace {

constexpr std::size_t most_lines = 40;

// `text` as exactly `room` columns.
std::string cell(const std::string& text, std::size_t room) {
  const std::string shown = shortened(printable(text), room);
  return shown + std::string(room - code_points(shown), ' ');
}

// Which report and which folder: the end of a path says more than its beginning.
std::string place_line(const HistoryRun& run, std::size_t width) {
  const std::string start = "  " + printable(run.report_id) + (run.simulated ? "  SIMULATED  " : "  ");
  const std::string folder = printable(run.folder);
  const std::size_t room = width > code_points(start) + 12 ? width - code_points(start) : 12;
  if (code_points(folder) <= room) return start + folder;
  std::size_t from = folder.size();
  for (std::size_t kept = 2; from > 0 && kept < room; ++kept) do
      --from;
    while (from > 0 && (static_cast<unsigned char>(folder[from]) & 0xc0) == 0x80);
  return start + ".." + folder.substr(from);
}

// Wrapped, under the run's line, and further in after the first line.
std::string hanging(const std::string& text, std::size_t width) {
  std::string out;
  for (const std::string& line : wrapped(text, width - 4)) out += (out.empty() ? "  " : "    ") + line + "\n";
  return out;
}

std::string verdict_word(Verdict v) {
  return v == Verdict::pass ? "pass" : v == Verdict::fail ? "FAIL" : "UNDECIDED";
}

std::string runs_text(const std::vector<HistoryRun>& runs, std::size_t width) {
  const std::size_t room = std::max<std::size_t>((width - 28) / 3, 10) - 1;
  std::string text = cell("started", 17) + cell("unit", room + 1) + cell("gauge", room + 1) +
                     cell("scenario", room + 1) + "verdict\n";
  const std::size_t first = runs.size() > most_lines ? runs.size() - most_lines : 0;
  if (first > 0) text += fmt::format("... {} earlier runs; --json has all of them\n", first);
  for (std::size_t i = first; i < runs.size(); ++i) {
    const HistoryRun& r = runs[i];
    std::string started = r.started.substr(0, 16);
    std::replace(started.begin(), started.end(), 'T', ' ');
    text += cell(started, 16) + " " + cell(r.unit_serial.empty() ? "-" : r.unit_serial, room) + " " +
            cell(r.gauge, room) + " " + cell(r.scenario, room) + " " + verdict_word(r.verdict) + "\n" +
            place_line(r, width) + "\n";
    for (const std::string& cause : cause_sentences(r)) text += hanging(printable(cause), width);
  }
  return text;
}

std::string accepted_text(const std::vector<HistoryRun>& runs, std::size_t width) {
  std::string text;
  for (const GivenAcceptance& given : acceptances(runs)) {
    if (text.empty()) text = "\nAccepted as the reference\n";
    for (const std::string& line : wrapped(printable(acceptance_words(given)), width)) text += line + "\n";
  }
  return text;
}

std::string drifts_text(const std::vector<Drift>& drifts, std::size_t width) {
  const std::size_t room = std::min<std::size_t>(width > 64 ? width - 56 : 8, 24);
  std::string text;
  std::string title;
  bool since_settings = false;
  std::size_t undecided = 0;
  for (const Drift& d : drifts) {
    if (unit_title(d) != title) {
      title = unit_title(d);
      text += "\n" + shortened("Drift, rpm from nominal: " + printable(title), width) + "\n" +
              cell("", room) +
              fmt::format("{:9}{:>6}{:>10}{:>10}{:>10}{:>10}\n", "", "runs", "first", "last", "change",
                          "U(change)");
    }
    const int decimals = decimals_for(d.change_uncertainty_rpm());
    const auto number = [&](const DriftPoint* p) {
      return p == nullptr ? "-" : with_sign(p->deviation_rpm, decimals);
    };
    const bool once = !d.has_change();
    text += cell(d.boundary, room) +
            fmt::format("{:9}{:>6}{:>10}{:>10}{:>10}{:>10}\n", " " + std::string(word(d.direction)),
                        d.points.size(), number(d.first()) + (d.settings_changed() ? "*" : ""),
                        number(d.last()), once ? "-" : with_sign(d.change_rpm(), decimals),
                        once ? "-" : fixed(d.change_uncertainty_rpm(), decimals));
    since_settings = since_settings || d.settings_changed();
    undecided += d.undecided();
  }
  if (since_settings) text += "* the first one since the settings changed\n";
  if (undecided > 0)
    text += fmt::format("{} undecided {} counted in runs only.\n", undecided,
                        undecided == 1 ? "value is" : "values are");
  return text;
}

std::string spreads_text(const std::vector<Spread>& spreads, std::size_t width) {
  const std::size_t room = std::min<std::size_t>(width > 68 ? width - 60 : 8, 24);
  std::string text;
  std::string title;
  std::size_t left_out = 0;
  for (const Spread& s : spreads) {
    const std::string of = fmt::format("Spread of {} units' last results, rpm: {}",
                                       s.simulated ? "SIMULATED" : "the", printable(s.gauge));
    if (of != title) {
      title = of;
      text += "\n" + shortened(title, width) + "\n" + cell("", room) +
              fmt::format("{:9}{:>6}{:>8}{:>8}{:>8}{:>8}  {}\n", "", "units", "mean", "s", "allowed", "Cpk",
                          "95 %");
    }
    left_out += s.left_out;
    const Capability& c = s.capability;
    const bool beyond_telling = c.cpk > most_cpk;
    const std::string cpk = beyond_telling ? "> 10" : std::isfinite(c.cpk) ? fixed(c.cpk, 2) : "-";
    const std::string between = std::isfinite(c.cpk_lower) && !beyond_telling
                                    ? fmt::format("{}..{}", fixed(c.cpk_lower, 1), fixed(c.cpk_upper, 1))
                                    : "-";
    text += cell(s.boundary, room) +
            fmt::format("{:9}{:>6}{:>8}{:>8}{:>8}{:>8}  {}\n", " " + std::string(word(s.direction)), c.n,
                        c.n > 0 ? with_sign(c.mean, 2) : "-", c.n > 1 ? fixed(c.s, 2) : "-",
                        "+-" + fixed(s.tolerance_rpm, 1), cpk, between);
  }
  if (left_out > 0)
    text += fmt::format("{} results are left out: their U is above the tolerance.\n", left_out);
  return text;
}

}  // namespace

HistoryView view_of(std::vector<HistoryRun> runs, bool simulated) {
  HistoryView view;
  view.drifts = drifts(runs);
  if (!simulated) {
    std::erase_if(view.drifts, [](const Drift& d) { return d.simulated; });
    view.left_out = static_cast<std::size_t>(
        std::count_if(runs.begin(), runs.end(), [](const HistoryRun& r) { return r.simulated; }));
  }
  view.spreads = spreads(view.drifts);
  view.runs = std::move(runs);
  return view;
}

std::vector<GivenAcceptance> acceptances(const std::vector<HistoryRun>& runs) {
  std::vector<GivenAcceptance> all;
  for (const HistoryRun& run : runs)
    for (const Acceptance& acceptance : run.accepted) all.push_back({&run, &acceptance});
  std::stable_sort(all.begin(), all.end(), [](const GivenAcceptance& a, const GivenAcceptance& b) {
    return a.acceptance->order < b.acceptance->order;
  });
  return all;
}

std::string acceptance_words(const GivenAcceptance& given) {
  const HistoryRun& r = *given.run;
  const Acceptance& a = *given.acceptance;
  return fmt::format("{}, {} of {}: by {} on {}: {}",
                     r.unit_serial.empty() ? "gauge " + r.gauge : "unit " + r.unit_serial, r.scenario,
                     r.started.substr(0, 16), a.who, a.at.substr(0, 16), a.why);
}

std::string left_out_words(const HistoryView& view) {
  if (view.left_out == 0) return {};
  return view.left_out == 1
             ? "1 simulated run is left out of drift and spread; --simulated shows it."
             : fmt::format("{} simulated runs are left out of drift and spread; --simulated shows them.",
                           view.left_out);
}

std::string unit_title(const Drift& drift) {
  return (drift.simulated ? "SIMULATED unit " : "unit ") + drift.unit + ", " + drift.gauge;
}

std::vector<std::string> cause_sentences(const HistoryRun& run) {
  std::vector<std::string> all;
  for (const HistoryCause& cause : run.causes) {
    std::string text = (all.empty() ? "" : "or: ") + cause.text;
    if (cause.explains < cause.of)
      text += fmt::format(" (explains only {} of {} findings)", cause.explains, cause.of);
    all.push_back(std::move(text));
  }
  return all;
}

std::string history_text(const HistoryView& view, int width) {
  const auto columns = static_cast<std::size_t>(std::max(width, 60));
  if (view.runs.empty()) return "No run in the history matches.\n";
  return runs_text(view.runs, columns) + accepted_text(view.runs, columns) +
         drifts_text(view.drifts, columns) + spreads_text(view.spreads, columns) +
         (view.left_out == 0 ? "" : "\n" + left_out_words(view) + "\n");
}

namespace {

Json run_to_json(const HistoryRun& r) {
  return {
      {"report_id", text_to_json(r.report_id)},
      {"folder", text_to_json(r.folder)},
      {"started", text_to_json(r.started)},
      {"unit", text_to_json(r.unit_serial)},
      {"gauge", text_to_json(r.gauge)},
      {"scenario", text_to_json(r.scenario)},
      {"source", text_to_json(r.source)},
      {"tested_by", text_to_json(r.tested_by)},
      {"verdict", word(r.verdict)},
      {"complete", r.complete},
      {"simulated", r.simulated},
      {"duration_s", number_to_json(r.duration_s)},
      {"tolerance_rpm", number_to_json(r.tolerance_rpm)},
      {"boundaries", list_of(r.boundaries,
                             [](const HistoryBoundary& b) {
                               return Json{
                                   {"boundary", text_to_json(b.boundary)},
                                   {"direction", word(b.direction)},
                                   {"nominal_rpm", number_to_json(b.nominal_rpm)},
                                   {"threshold_rpm", number_to_json(b.threshold_rpm)},
                                   {"expanded_uncertainty_rpm", number_to_json(b.expanded_uncertainty_rpm)},
                                   {"response_ms", number_to_json(b.response_ms)},
                                   {"verdict", word(b.verdict)}};
                             })},
      {"causes",
       list_of(r.causes,
               [](const HistoryCause& c) {
                 return Json{{"text", text_to_json(c.text)}, {"explains", c.explains}, {"of", c.of}};
               })},
      {"accepted", list_of(r.accepted, [](const Acceptance& a) {
         return Json{{"at", text_to_json(a.at)}, {"by", text_to_json(a.who)}, {"why", text_to_json(a.why)}};
       })}};
}

Json drift_to_json(const Drift& d) {
  return {{"gauge", text_to_json(d.gauge)},
          {"unit", text_to_json(d.unit)},
          {"simulated", d.simulated},
          {"boundary", text_to_json(d.boundary)},
          {"direction", word(d.direction)},
          {"runs", d.points.size()},
          {"undecided", d.undecided()},
          {"settings_changed", d.settings_changed()},
          {"first_rpm", number_to_json(d.first() == nullptr ? not_measured : d.first()->deviation_rpm)},
          {"last_rpm", number_to_json(d.last() == nullptr ? not_measured : d.last()->deviation_rpm)},
          {"change_rpm", number_to_json(d.change_rpm())},
          {"change_uncertainty_rpm", number_to_json(d.change_uncertainty_rpm())}};
}

Json spread_to_json(const Spread& s) {
  return {{"gauge", text_to_json(s.gauge)},
          {"simulated", s.simulated},
          {"boundary", text_to_json(s.boundary)},
          {"direction", word(s.direction)},
          {"units", s.capability.n},
          {"left_out", s.left_out},
          {"mean_rpm", number_to_json(s.capability.mean)},
          {"s_rpm", number_to_json(s.capability.s)},
          {"tolerance_rpm", number_to_json(s.tolerance_rpm)},
          {"cpk", number_to_json(s.capability.cpk)},
          {"cpk_lower", number_to_json(s.capability.cpk_lower)},
          {"cpk_upper", number_to_json(s.capability.cpk_upper)}};
}

}  // namespace

std::string history_json(const HistoryView& view) {
  const Json json = {{"runs", list_of(view.runs, run_to_json)},
                     {"drifts", list_of(view.drifts, drift_to_json)},
                     {"spreads", list_of(view.spreads, spread_to_json)},
                     {"simulated_left_out", view.left_out},
                     {"accepted", list_of(acceptances(view.runs), [](const GivenAcceptance& given) {
                        return Json{{"report_id", text_to_json(given.run->report_id)},
                                    {"unit", text_to_json(given.run->unit_serial)},
                                    {"gauge", text_to_json(given.run->gauge)},
                                    {"at", text_to_json(given.acceptance->at)},
                                    {"by", text_to_json(given.acceptance->who)},
                                    {"why", text_to_json(given.acceptance->why)}};
                      })}};
  return json_text(json, 2) + "\n";
}

}  // namespace tachproof
