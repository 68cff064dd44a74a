// A suite for a person at a terminal, for a browser, and for a CI server.
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/chart.h"
#include "bench/reports/facts.h"
#include "bench/reports/junit_suite.h"
#include "bench/reports/page.h"
#include "bench/reports/run_report.h"
#include "bench/run/suite.h"

namespace tachproof {
namespace {

constexpr Outcome all_outcomes[] = {Outcome::pass,         Outcome::pass_on_retry, Outcome::fail,
                                    Outcome::intermittent, Outcome::undecided,     Outcome::not_played,
                                    Outcome::skipped};

std::size_t count(const SuiteRecord& record, Outcome o) {
  return static_cast<std::size_t>(std::count_if(record.pairs.begin(), record.pairs.end(),
                                                [&](const SuitePair& p) { return record.outcome(p) == o; }));
}

std::string plural(std::size_t n, const char* what) {
  return fmt::format("{} {}{}", n, what, n == 1 ? "" : "s");
}

// "2 pass", "1 passes at a later attempt".
std::string tally(Outcome o, std::size_t n) {
  const char* const s = n == 1 ? "s" : "";
  const char* const es = n == 1 ? "es" : "";
  switch (o) {
    case Outcome::pass: return fmt::format("{} pass{}", n, es);
    case Outcome::pass_on_retry: return fmt::format("{} pass{} at a later attempt", n, es);
    case Outcome::fail: return fmt::format("{} fail{}", n, s);
    case Outcome::intermittent: return fmt::format("{} fail{} in some attempts and not in others", n, s);
    case Outcome::undecided: return fmt::format("{} {} undecided", n, n == 1 ? "is" : "are");
    case Outcome::not_played: return fmt::format("{} {} not played", n, n == 1 ? "was" : "were");
    case Outcome::skipped: return fmt::format("{} {} skipped", n, n == 1 ? "was" : "were");
    case Outcome::elsewhere: break;
  }
  return "";
}

// One sentence without the verdict: "all 6 pairs pass".
std::string answer(const SuiteRecord& record) {
  const std::size_t pairs = record.pairs.size() - count(record, Outcome::elsewhere);
  if (pairs > 0 && count(record, Outcome::pass) == pairs && record.complete())
    return pairs == 1 ? "The one pair passes." : fmt::format("All {} pairs pass.", pairs);
  std::string text;
  for (const Outcome o : all_outcomes)
    if (const std::size_t n = count(record, o); n > 0) text += (text.empty() ? "" : ", ") + tally(o, n);
  text = fmt::format("Of {} {}.", plural(pairs, "pair"), text);
  if (pairs > 0 && count(record, Outcome::skipped) == pairs)
    return text + " Nothing was played, so nothing is proven.";
  if (!record.doubts.empty()) text += " The suite's folder contradicts itself.";
  return record.ended.empty() ? text + " The suite did not get to its end." : text;
}

std::string which_shards(const SuiteRecord& record) {
  if (record.shards == 1) return "";
  std::string here;
  for (const int shard : record.here) here += fmt::format("{}{}", here.empty() ? "" : ", ", shard);
  return fmt::format("shard{} {} of {}", record.here.size() == 1 ? "" : "s", here, record.shards);
}

std::string span_of(Nanos t) {
  const auto s = static_cast<long long>(to_seconds(t) + 0.5);
  if (s < 120) return fmt::format("{} s", s);
  if (s < 7200) return fmt::format("{} min {} s", s / 60, s % 60);
  return fmt::format("{} h {} min", s / 3600, s / 60 % 60);
}

double played_s(const SuitePair& pair) {
  double seconds = 0;
  for (const Attempt& a : pair.attempts) seconds += a.duration_s;
  return seconds;
}

bool only_reused(const SuitePair& pair) {
  return !pair.attempts.empty() &&
         std::all_of(pair.attempts.begin(), pair.attempts.end(), [](const Attempt& a) { return a.reused; });
}

std::size_t attempts_with(const SuitePair& pair, Verdict v) {
  return static_cast<std::size_t>(std::count_if(pair.attempts.begin(), pair.attempts.end(),
                                                [&](const Attempt& a) { return a.verdict == v; }));
}

// What a table says of the pair.
std::string shown(const SuiteRecord& record, const SuitePair& pair) {
  switch (record.outcome(pair)) {
    case Outcome::pass: return "pass";
    case Outcome::pass_on_retry:
      return fmt::format("pass, attempt {} of {}", pair.attempts.size(), pair.attempts.size());
    case Outcome::fail: return "FAIL";
    case Outcome::intermittent:
      return fmt::format("FAIL in {} of {}", attempts_with(pair, Verdict::fail), pair.attempts.size());
    case Outcome::undecided: return "UNDECIDED";
    case Outcome::not_played: return "not played";
    case Outcome::skipped: return "skipped";
    case Outcome::elsewhere: return fmt::format("shard {}", pair.shard);
  }
  return "";
}

// Why it is no clean pass, a sentence each; empty for one that is.
std::vector<std::string> why(const SuiteRecord& record, const SuitePair& pair) {
  const Outcome outcome = record.outcome(pair);
  if (outcome == Outcome::skipped) return {pair.skipped_because};
  if (outcome == Outcome::pass) return {};
  std::vector<std::string> sentences;
  for (std::size_t i = 0, next = 0; i < pair.attempts.size(); i = next) {
    const Attempt& a = pair.attempts[i];
    const auto alike = [&](const Attempt& b) { return b.verdict == a.verdict && b.reason == a.reason; };
    for (next = i + 1; next < pair.attempts.size() && alike(pair.attempts[next]);) ++next;
    const std::string which =
        next == i + 1 ? fmt::format("Attempt {}", i + 1) : fmt::format("Attempts {} to {}", i + 1, next);
    sentences.push_back(
        pair.attempts.size() == 1 ? a.reason : fmt::format("{}, {}: {}", which, word(a.verdict), a.reason));
  }
  return sentences;
}

std::string joined(const std::vector<std::string>& sentences, const char* between = " ") {
  std::string text;
  for (const std::string& sentence : sentences) text += (text.empty() ? "" : between) + sentence;
  return text;
}

// ---- terminal -----------------------------------------------------------------

std::size_t columns_in(int width) { return static_cast<std::size_t>(std::max(width, 60)); }

// As wide as the longest name, within reason.
std::size_t room_for(const SuiteRecord& record, const std::string SuitePair::*name, std::size_t most) {
  std::size_t longest = 0;
  for (const SuitePair& pair : record.pairs) longest = std::max(longest, code_points(printable(pair.*name)));
  return std::min(longest, most);
}

// ---- page -----------------------------------------------------------------------

std::string href(const std::string& path) {
  std::string text;
  for (const char c : path) {
    const bool plain = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
                       std::string_view("-._~/@").find(c) != std::string_view::npos;
    text += plain ? std::string(1, c) : fmt::format("%{:02X}", static_cast<unsigned char>(c));
  }
  return text;
}

std::string linked(const Attempt& attempt, const std::string& html) {
  return attempt.folder.empty()
             ? html
             : fmt::format("<a href=\"{}/report.html\">{}</a>", href(attempt.folder), html);
}

std::string shown_html(const SuiteRecord& record, const SuitePair& pair) {
  const Outcome outcome = record.outcome(pair);
  const std::optional<Verdict> verdict = verdict_of(outcome);
  std::string text = escaped(shown(record, pair));
  if (outcome != Outcome::pass && verdict)
    text = fmt::format("<b class=\"{}\">{}</b>", *verdict == Verdict::fail ? "fail" : "undecided", text);
  return pair.attempts.empty() ? text : linked(pair.attempts.back(), text);
}

std::string matrix_html(const SuiteRecord& record) {
  std::vector<std::string> gauges, scenarios;
  std::map<std::pair<std::string, std::string>, const SuitePair*> cells;
  const auto note = [](std::vector<std::string>& names, const std::string& name) {
    if (std::find(names.begin(), names.end(), name) == names.end()) names.push_back(name);
  };
  for (const SuitePair& pair : record.pairs) {
    note(gauges, pair.gauge);
    note(scenarios, pair.scenario);
    cells[{pair.gauge, pair.scenario}] = &pair;
  }
  if (gauges.size() < 2 || scenarios.size() < 2) return "";
  std::string html =
      "<h2>At a glance</h2>\n<div class=\"scroll narrow\"><table>\n<thead><tr><th>scenario</th>";
  for (const std::string& gauge : gauges) html += "<th>" + escaped(gauge) + "</th>";
  html += "</tr></thead>\n<tbody>\n";
  for (const std::string& scenario : scenarios) {
    html += "<tr><td>" + escaped(scenario) + "</td>";
    for (const std::string& gauge : gauges) {
      const auto cell = cells.find({gauge, scenario});
      html += "<td>" + (cell == cells.end() ? "" : shown_html(record, *cell->second)) + "</td>";
    }
    html += "</tr>\n";
  }
  return html + "</tbody></table></div>\n";
}

std::string attempts_html(const SuitePair& pair) {
  if (pair.attempts.size() < 2) return std::to_string(pair.attempts.size());
  std::string html;
  for (std::size_t i = 0; i < pair.attempts.size(); ++i)
    html += (i == 0 ? "" : "<br>") +
            linked(pair.attempts[i], fmt::format("{} {}", i + 1, word(pair.attempts[i].verdict)));
  return html;
}

std::string row_html(const SuiteRecord& record, const SuitePair& pair) {
  const bool played = !pair.attempts.empty();
  std::vector<std::string> remarks = why(record, pair);
  if (only_reused(pair)) remarks.push_back("Re-used.");
  for (std::string& remark : remarks) remark = escaped(remark);
  return fmt::format(
      "<tr><td class=\"w\">{}</td><td>{}</td><td class=\"n\" data-of=\"s\">{}</td><td class=\"n\" "
      "data-of=\"transitions\">{}</td><td data-of=\"{}\">{}</td><td class=\"m\">{}</td></tr>\n",
      escaped(pair.scenario), shown_html(record, pair), played ? fixed(played_s(pair), 1) : "–",
      played ? std::to_string(pair.attempts.back().transitions) : "–",
      pair.attempts.size() < 2 ? (played ? "attempt" : "attempts") : "", attempts_html(pair),
      joined(remarks, "<br>"));
}

// The same for every gauge, so that their tables line up.
constexpr const char* table_head =
    "<div class=\"scroll stacked\"><table>\n<colgroup><col style=\"width:15%\"><col style=\"width:20%\"><col "
    "style=\"width:8%\"><col style=\"width:11%\"><col style=\"width:12%\"><col></colgroup>\n";

std::string gauges_html(const SuiteRecord& record) {
  std::string html, gauge;
  for (const SuitePair& pair : record.pairs) {
    if (pair.gauge != gauge) {
      if (!gauge.empty()) html += "</tbody></table></div>\n";
      gauge = pair.gauge;
      html += fmt::format("<h2>{}: {}</h2>\n", escaped(pair.gauge), escaped(pair.gauge_title));
      Facts facts;
      facts.add("Gauge file", pair.gauge_file);
      facts.add("Rig file", pair.rig_file);
      facts.add("Unit", pair.unit_serial);
      html += facts.html() + table_head +
              "<thead><tr><th>scenario</th><th>verdict</th><th "
              "class=\"n\">played, "
              "s</th><th class=\"n\">transitions</th><th>attempts</th><th>why</th></tr></thead>\n<tbody>\n";
    }
    html += row_html(record, pair);
  }
  return html + (gauge.empty() ? "" : "</tbody></table></div>\n");
}

std::string retry_words(const RetryPolicy& retry) {
  if (retry.times == 0) return "none";
  return fmt::format("up to {}, where an attempt was undecided because of the bench{}",
                     plural(static_cast<std::size_t>(retry.times), "time"),
                     retry.fails ? ", and after a fail (it stays one)" : "");
}

}  // namespace

std::string suite_head(const SuiteRecord& record, int width) {
  std::size_t here = 0;
  Nanos expected = 0;
  for (const SuitePair& pair : record.pairs)
    if (record.is_here(pair)) {
      ++here;
      if (pair.skipped_because.empty() && pair.attempts.empty()) expected += pair.expected;
    }
  std::string text = plural(here, "pair") + " of gauge and scenario";
  if (record.shards > 1) text += fmt::format(" ({}; {} in all)", which_shards(record), record.pairs.size());
  if (expected > 0) text += ", " + span_of(expected) + " to play at most";
  return as_paragraph("", text, columns_in(width)) + "\n";
}

std::string suite_row(const SuiteRecord& record, const SuitePair& pair, int width, bool colour) {
  const std::optional<Verdict> verdict = verdict_of(record.outcome(pair));
  const std::string word = shown(record, pair);
  std::string text = padded(pair.gauge, room_for(record, &SuitePair::gauge, 16)) + "  " +
                     padded(pair.scenario, room_for(record, &SuitePair::scenario, 22)) + "  " +
                     (verdict ? painted(word, *verdict, colour) : word);
  if (!pair.attempts.empty()) {
    text += std::string(word.size() < 21 ? 21 - word.size() : 1, ' ') +
            fmt::format("{:>7} s", fixed(played_s(pair), 1));
    if (only_reused(pair)) text += " re-used";
  }
  text += "\n";
  for (const std::string& sentence : why(record, pair))
    text += as_paragraph("    ", sentence, columns_in(width));
  return text;
}

std::string suite_end(const SuiteRecord& record, int width, bool colour) {
  std::string text;
  if (!record.notes.empty()) text += "\nNotes\n";
  for (const std::string& note : record.notes) text += as_paragraph("  - ", note, columns_in(width));
  const Verdict verdict = record.verdict();
  const std::string shards = record.whole ? "" : which_shards(record);
  const std::string last = as_paragraph(
      "", fmt::format("{}{}: {}", shouted(verdict), shards.empty() ? "" : ", " + shards, answer(record)),
      columns_in(width));
  return text + "\n" + painted(shouted(verdict), verdict, colour) + last.substr(shouted(verdict).size());
}

std::string suite_html(const SuiteRecord& record) {
  const Verdict verdict = record.verdict();
  const std::string shards = which_shards(record);
  const auto simulated = [](const SuitePair& pair) {
    return std::any_of(pair.attempts.begin(), pair.attempts.end(),
                       [](const Attempt& a) { return a.simulated; });
  };
  std::string body, style;
  if (std::any_of(record.pairs.begin(), record.pairs.end(), simulated))
    body = simulated_banner(), style = simulated_style();
  body += fmt::format(
      "<h1>Tachproof suite: <b>{} of gauge and scenario</b></h1>\n<div class=\"verdict "
      "{}\"><strong>{}</strong><div><p>{}</p></div></div>\n",
      plural(record.pairs.size(), "pair"), word(verdict), shouted(verdict), escaped(answer(record)));
  Facts facts;
  facts.add("Started", record.started);
  facts.add("Ended", record.ended.empty() ? "not yet, or it was stopped" : record.ended);
  facts.add("Program", "tachproof " + record.tool_version);
  facts.add("Retries", retry_words(record.retry));
  facts.add("Shards", shards);
  facts.add_code("Plan", record.plan_sha256);
  body += facts.html() + matrix_html(record) + gauges_html(record);
  if (!record.notes.empty()) body += "<h2>Notes</h2>\n<ul>\n";
  for (const std::string& note : record.notes) body += "<li>" + escaped(note) + "</li>\n";
  if (!record.notes.empty()) body += "</ul>\n";
  body +=
      "<p>A fail outweighs undecided, and undecided outweighs a pass. A pair that passed at a later attempt "
      "is marked: the attempts before it were undecided. A pair that failed once has failed, whatever its "
      "other attempts say.</p>\n";
  return chart_page(fmt::format("{}: Tachproof suite", shouted(verdict)), body, style);
}

std::string suite_junit(const SuiteRecord& record) {
  std::vector<JunitSuite> suites;
  for (const SuitePair& pair : record.pairs) {
    const Outcome outcome = record.outcome(pair);
    if (outcome == Outcome::elsewhere) continue;
    if (suites.empty() || suites.back().name != pair.gauge) {
      suites.push_back({pair.gauge, 0, {{"gauge", pair.gauge_title}, {"unit_serial", pair.unit_serial}}, {}});
    }
    JunitCase c{pair.scenario, "suite", played_s(pair), verdict_of(outcome).value_or(Verdict::undecided),
                joined(why(record, pair))};
    c.skipped = outcome == Outcome::skipped;
    if (outcome == Outcome::not_played) c.message = "It was not played.";
    if (outcome == Outcome::pass_on_retry) c.output = shown(record, pair) + ". " + c.message;
    suites.back().seconds += c.seconds;
    suites.back().cases.push_back(std::move(c));
  }
  // The verdict itself, so that a CI server is green only when the suite is a
  // pass. No gauge has a blank in its name here.
  suites.push_back(
      {"all pairs", 0, {{"tool_version", record.tool_version}, {"plan_sha256", record.plan_sha256}}, {}});
  suites.back().cases.push_back({"verdict of the suite", "suite", 0, record.verdict(), answer(record)});
  return junit_xml(suites);
}

}  // namespace tachproof
