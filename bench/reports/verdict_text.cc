// The verdict table for a terminal.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>

#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/causes_report.h"
#include "bench/reports/run_report.h"
#include "core/judge/row_place.h"

namespace tachproof {
namespace {

class Terminal {
 public:
  Terminal(int width, bool colour, bool judged)
      : width_(static_cast<std::size_t>(std::max(width, 40))), colour_(colour), judged_(judged) {}

  void line(const std::string& text = "") { out_ += text + "\n"; }
  void heading(const std::string& text) { line("\n" + (colour_ ? "\x1b[1m" + text + "\x1b[0m" : text)); }
  // Wrapped, with `first` before the first line and as many blanks before the others.
  void paragraph(const std::string& first, const std::string& text) {
    const std::size_t indent = code_points(first);
    std::string lead = first;
    for (const std::string& part : wrapped(printable(text), width_ - indent)) {
      line(lead + part);
      lead.assign(indent, ' ');
    }
  }
  std::string painted(const std::string& text, Verdict v) const {
    return tachproof::painted(text, v, colour_);
  }
  std::string verdict(Verdict v) const {
    if (!judged_) return "found";
    return v == Verdict::pass ? painted("pass", v) : painted(shouted(v), v);
  }
  // A name column as wide as the terminal leaves beside `others` columns.
  std::string name(const std::string& text, std::size_t others) const {
    const std::size_t room = std::min<std::size_t>(width_ > others + 8 ? width_ - others : 8, 24);
    const std::string shown = shortened(printable(text), room);
    return shown + std::string(room - code_points(shown), ' ');
  }
  std::size_t width() const { return width_; }
  std::string take() { return std::move(out_); }

 private:
  std::string out_;
  std::size_t width_;
  bool colour_;
  bool judged_;
};

// A line above the first row of each state, where the unit was pressed or lost its supply.
template <class Rows>
class StateLines {
 public:
  StateLines(Terminal& out, const Rows& rows)
      : out_(out),
        any_(std::any_of(rows.begin(), rows.end(), [](const auto& row) { return !row.state.empty(); })) {}
  void before(const std::string& state) {
    if (!any_ || state_ == state) return;
    state_ = state;
    out_.paragraph("", (state.empty() ? std::string(state_as_set) : state) + ":");
  }

 private:
  Terminal& out_;
  bool any_;
  std::optional<std::string> state_;
};

// "4210.1 +- 0.6", or the value alone.
std::string with_u(double value, double u, int decimals) {
  return std::isfinite(u) ? fixed(value, decimals) + " +- " + fixed(u, decimals) : fixed(value, decimals);
}

std::string plural(std::uint64_t n, const char* what) {
  return fmt::format("{} {}{}", n, what, n == 1 ? "" : "s");
}

void title(Terminal& out, const RunRecord& record) {
  const RunResult& r = record.result;
  const std::string serial = record.unit_serial.empty() ? "no serial number" : "serial " + record.unit_serial;
  out.paragraph("", fmt::format("{}, {}", record.gauge_name, serial));
  out.paragraph("", fmt::format("{}, seed {}; {} source, {} watcher", record.scenario_name, record.seed,
                                record.source, record.watch));
  std::string evidence =
      fmt::format("{} s, {}, {}", fixed(to_seconds(r.duration), 3), plural(r.evidence.pulses, "pulse"),
                  plural(r.evidence.lamp_changes, "lamp change"));
  if (r.evidence.lost > 0) evidence += fmt::format(", {} LOST", r.evidence.lost);
  out.paragraph("", evidence);
}

template <class Row>
std::string row_verdict(const Terminal& out, const Row& row) {
  return !row.asked && row.verdict == Verdict::undecided ? std::string(row_word(row))
                                                         : out.verdict(row.verdict);
}

void presses(Terminal& out, const RunRecord& record) {
  if (record.result.presses.empty()) return;
  out.heading("Presses");
  out.line(out.name("", 60) +
           fmt::format("{:>9}{:>9}{:>18}{:>13}  {}", "at s", "rpm", "taken, rpm", "reaction ms", "verdict"));
  for (const PressResult& p : record.result.presses) {
    const std::string_view said = press_word(p);
    const std::string taken = said.empty() ? with_u(p.taken_rpm, p.expanded_uncertainty_rpm,
                                                    decimals_for(p.expanded_uncertainty_rpm))
                                           : std::string(said);
    out.line(out.name(p.button, 60) + fmt::format("{:>9}{:>9}{:>18}{:>13}  {}", fixed(to_seconds(p.at), 3),
                                                  fixed(p.rpm, 1), taken, fixed(p.reaction_ms, 1),
                                                  out.verdict(p.verdict)));
    if (!p.remark.empty()) out.paragraph("  ", as_sentence(p.remark));
  }
}

void dims(Terminal& out, const RunRecord& record) {
  if (record.result.dims.empty()) return;
  out.heading("Dimming, % of full light");
  out.line(out.name("", 64) +
           fmt::format("{:>9}{:>8}{:>16}  {:18}  {}", "at s", "set", "measured", "lamp", "verdict"));
  for (const DimResult& d : record.result.dims) {
    const double u = 100 * d.expanded_uncertainty;
    const std::string lamp = shortened(printable(d.lamp), 18);
    out.line(out.name(d.button, 64) +
             fmt::format("{:>9}{:>8}{:>16}  {}  {}", fixed(to_seconds(d.at), 3), fixed(100 * d.set_level, 1),
                         with_u(100 * d.level, u, decimals_for(u, 1)),
                         lamp + std::string(18 - code_points(lamp), ' '), out.verdict(d.verdict)));
    if (!d.remark.empty()) out.paragraph("  ", as_sentence(d.remark));
  }
}

void powers(Terminal& out, const RunRecord& record) {
  if (record.result.powers.empty()) return;
  out.heading("Power");
  const std::optional<PowerUp>& power_up = record.gauge.power_up;
  const std::string set = power_up ? fmt::format("{}..{}", fixed(to_ms(power_up->boot_from), 0),
                                                 fixed(to_ms(power_up->boot_to), 0))
                                   : "n/a";
  const bool dips = std::any_of(record.result.powers.begin(), record.result.powers.end(),
                                [](const PowerResult& p) { return std::isfinite(p.lowest_v); });
  constexpr const char* columns = "{:>9}{:>10}{:>18}{:>13}{:>12}  {}";
  const auto fed = [&](const std::string& text) { return dips ? fmt::format("{:>6}", text) : ""; };
  out.line(fed("fed V") + fmt::format(columns, dips ? "from s" : "cut at s", "back at s", "woke after ms",
                                      "set ms", "greeted ms", "verdict"));
  for (const PowerResult& p : record.result.powers) {
    const double u = p.expanded_uncertainty_ms;
    out.line(fed(std::isfinite(p.lowest_v) ? fixed(p.lowest_v, 1) : "off") +
             fmt::format(columns, fixed(to_seconds(p.at), 3), fixed(to_seconds(p.back_at), 3),
                         with_u(p.boot_ms, u, decimals_for(u, 1)), set, fixed(p.greeted_ms, 0),
                         out.verdict(p.verdict)));
    if (!p.remark.empty()) out.paragraph("  ", as_sentence(p.remark));
  }
}

void boundaries(Terminal& out, const RunRecord& record) {
  if (record.result.boundaries.empty()) return;
  out.heading("Boundaries");
  out.line(out.name("", 61) + fmt::format("{:9}{:>9}{:>11}{:>8}{:>10}{:>4}  {}", "", "nominal", "deviation",
                                          "U rpm", "resp. ms", "n", "verdict"));
  StateLines states(out, record.result.boundaries);
  for (const BoundaryResult& b : record.result.boundaries) {
    states.before(b.state);
    const int decimals = decimals_for(b.expanded_uncertainty_rpm);
    // The longest words leave room for one blank before them in 80 columns.
    const char* const gap = b.verdict == Verdict::undecided ? " " : "  ";
    const int wide = b.visits > 999 ? 6 : 4;  // noise may make thousands
    out.line(out.name(b.boundary, 61) +
             fmt::format("{:9}{:>9}{:>11}{:>8}{:>{}}{:>{}}{}{}", word(b.direction), fixed(b.nominal_rpm, 1),
                         with_sign(b.threshold_rpm - b.nominal_rpm, decimals),
                         fixed(b.expanded_uncertainty_rpm, decimals), fixed(b.response_ms, 1), 14 - wide,
                         b.visits, wide, gap, row_verdict(out, b)));
    std::string more = b.between_rpm ? between_words(*b.between_rpm) + " rpm" : "";
    if (!b.remark.empty()) more += (more.empty() ? "" : "; ") + as_sentence(b.remark);
    if (!more.empty()) out.paragraph("  ", more);
  }
}

void speeds(Terminal& out, const RunRecord& record) {
  if (!record.gauge.drive || record.result.boundaries.empty()) return;
  const Drive& drive = *record.gauge.drive;
  const auto cells = [&](const Quantity& v) {
    const double u = speed_coverage * in_unit(v.standard_uncertainty, drive.said_in);
    const int decimals = decimals_for(u);
    return fmt::format("{:>10}{:>8}", fixed(in_unit(v.value, drive.said_in), decimals), fixed(u, decimals));
  };
  out.heading(fmt::format("Speeds, {}", word(drive.said_in)));
  out.line(out.name("", 58) +
           fmt::format("{:9}{:>9}{:>10}{:>8}{:>10}{:>8}", "", "set rpm", "set", "U", "measured", "U"));
  for (const BoundaryResult& b : record.result.boundaries)
    out.line(out.name(b.boundary, 58) +
             fmt::format("{:9}{:>9}{}{}", word(b.direction), fixed(b.nominal_rpm, 1),
                         cells(drive.speed_when_set(b.nominal_rpm, record.gauge.tolerance.rpm)),
                         cells(measured_speed(b, drive))));
}

void deadbands(Terminal& out, const RunRecord& record) {
  if (record.result.deadbands.empty()) return;
  out.heading("Deadbands");
  out.line(out.name("", 56) + fmt::format("{:9}{:>12}{:>9}{:>10}{:>5}  {}", "sits", "width rpm", "U rpm",
                                          "set rpm", "", "verdict"));
  StateLines states(out, record.result.deadbands);
  for (const DeadbandResult& d : record.result.deadbands) {
    states.before(d.state);
    const int decimals = decimals_for(d.expanded_uncertainty_rpm);
    out.line(out.name(d.boundary, 56) + fmt::format("{:9}{:>12}{:>9}{:>10}{:>5}  {}",
                                                    d.sits ? word(*d.sits) : "", fixed(d.width_rpm, decimals),
                                                    fixed(d.expanded_uncertainty_rpm, decimals),
                                                    fixed(d.nominal_rpm, 1), "", row_verdict(out, d)));
    if (!d.remark.empty()) out.paragraph("  ", as_sentence(d.remark));
  }
}

void responses(Terminal& out, const RunRecord& record) {
  if (record.result.responses.empty()) return;
  out.heading("Responses");
  out.line(out.name("", 56) +
           fmt::format("{:9}{:>12}{:>9}{:>10}{:>5}  {}", "", "resp. ms", "U ms", "", "n", "verdict"));
  StateLines states(out, record.result.responses);
  for (const ResponseResult& r : record.result.responses) {
    states.before(r.state);
    out.line(out.name(r.boundary, 56) +
             fmt::format("{:9}{:>12}{:>9}{:>10}{:>5}  {}", word(r.direction), fixed(r.response_ms, 1),
                         fixed(r.expanded_uncertainty_ms, 1), "", r.visits, row_verdict(out, r)));
    if (!r.remark.empty()) out.paragraph("  ", as_sentence(r.remark));
  }
}

void transitions(Terminal& out, const RunRecord& record) {
  const std::vector<TransitionGroup> groups = transition_groups(record);
  if (groups.empty()) return;
  out.heading("Transitions, rpm");
  out.line(out.name("", 64) + fmt::format("{:8}{:>9}{:>10}{:>10}{:>16}  {}", "", "seen", "nominal", "worst",
                                          "allowed", "verdict"));
  StateLines states(out, groups);
  for (const TransitionGroup& g : groups) {
    states.before(g.state);
    const TransitionResult& t = record.result.transitions[g.worst];
    const int decimals = std::min(decimals_for(t.expanded_uncertainty_rpm), 2);
    std::string measured = fmt::format("{:>10}{:>16}", with_sign(t.deviation_rpm, decimals),
                                       with_sign(t.lowest_rpm, 1) + ".." + with_sign(t.highest_rpm, 1));
    if (t.seen && t.step)
      measured = fmt::format("{:>10}{:>16}", fixed(response_at_step_ms(t, record.gauge), 1) + "ms",
                             fmt::format("{}..{}ms", fixed(to_ms(record.gauge.tolerance.response_from), 0),
                                         fixed(to_ms(record.gauge.tolerance.response_to), 0)));
    if (!t.seen || t.between_rpm)
      measured = fmt::format("{:>10}{:>16}", t.asked && !t.seen ? "not seen" : "not dated", "");
    out.line(out.name(g.boundary, 64) +
             fmt::format("{:8}{:>9}{:>10}{}  {}", word(g.direction), fmt::format("{}/{}", g.seen, g.expected),
                         fixed(t.nominal_rpm, 1), measured, out.verdict(g.verdict)));
  }
}

void blinks(Terminal& out, const RunRecord& record) {
  if (record.result.blinks.empty()) return;
  out.heading("Blinking");
  out.line(out.name("", 56) + fmt::format("{:21}{:>8}{:>8}{:>8}  {}", "", "Hz", "duty", "cycles", "verdict"));
  StateLines states(out, record.result.blinks);
  for (const BlinkResult& b : record.result.blinks) {
    states.before(b.state);
    const std::string lamp = shortened(printable(b.lamp), 20);
    out.line(out.name(b.window, 56) + lamp + std::string(21 - code_points(lamp), ' ') +
             fmt::format("{:>8}{:>8}{:>8}  {}", fixed(b.hz, 2), fixed(b.duty, 2), b.cycles,
                         out.verdict(b.verdict)));
  }
}

void flicker(Terminal& out, const RunRecord& record) {
  if (record.result.flicker.empty()) return;
  out.heading("Flicker, changes a minute");
  out.line(out.name("", 57) + fmt::format("{:>10}{:>9}{:>9}{:>9}{:>9}  {}", "at rpm", "changes", "rate",
                                          "95% max", "limit", "verdict"));
  for (const FlickerResult& f : record.result.flicker)
    out.line(out.name(f.boundary, 57) + fmt::format("{:>10}{:>9}{:>9}{:>9}{:>9}  {}", fixed(f.mean_rpm, 1),
                                                    f.changes, fixed(f.rate_per_min, 2),
                                                    fixed(f.upper_95_per_min, 2), fixed(f.limit_per_min, 2),
                                                    out.verdict(f.verdict)));
}

void answers(Terminal& out, const RunRecord& record) {
  if (record.result.answers.empty()) return;
  out.heading("Answers");
  for (const AnswerResult& a : record.result.answers) {
    out.paragraph("", a.question);
    const std::string given = a.answer.empty() ? "no answer" : "answer " + a.answer;
    out.paragraph("  ", fmt::format("{}; expected {}:", given, a.expected));
    out.line("  " + out.verdict(a.verdict));
  }
}

void findings(Terminal& out, const RunRecord& record) {
  constexpr std::size_t most = 20;
  const RunResult& r = record.result;
  const std::size_t shown = std::min(most, r.findings.size());
  if (shown == 0) return;
  out.heading("Findings");
  for (std::size_t i = 0; i < shown; ++i)
    out.paragraph(fmt::format("{:>3}. ", i + 1),
                  heading(r.findings[i]) + ": " + as_sentence(r.findings[i].message));
  const std::uint64_t more = r.findings.size() - shown + r.findings_left_out;
  if (more > 0)
    out.paragraph("     ", fmt::format("... and {} more; result.json lists those that were kept.", more));
}

void remarks(Terminal& out, const RunRecord& record) {
  const RunResult& r = record.result;
  // A dwell's last line names them.
  const std::vector<std::string> not_visited = r.closing.empty() ? r.not_visited : std::vector<std::string>{};
  if (r.notes.empty() && r.not_judged.empty() && not_visited.empty() && r.not_asked.empty()) return;
  out.heading("Notes");
  for (const std::string& note : r.notes) out.paragraph("  - ", as_sentence(note));
  std::string names;
  for (const std::string& name : r.not_judged) names += (names.empty() ? "" : ", ") + name;
  if (!names.empty()) out.paragraph("  - ", "Not wired, so not judged: " + names + ".");
  const auto list = [&](const char* what, const std::vector<std::string>& items) {
    std::string joined;
    for (const std::string& item : items) joined += (joined.empty() ? "" : ", ") + item;
    if (!joined.empty()) out.paragraph("  - ", what + joined + ".");
  };
  list("Not asked: ", r.not_asked);
  list("Not visited: ", not_visited);
}

}  // namespace

std::string verdict_text(const RunRecord& record, int width, bool colour) {
  Terminal out(width, colour, !tells_findings(record));
  title(out, record);
  presses(out, record);
  dims(out, record);
  powers(out, record);
  boundaries(out, record);
  speeds(out, record);
  deadbands(out, record);
  responses(out, record);
  transitions(out, record);
  blinks(out, record);
  flicker(out, record);
  answers(out, record);
  findings(out, record);
  remarks(out, record);
  out.line();
  const Verdict verdict = reported_verdict(record.result);
  const std::string head = headline(record), word_first = head + ": ";
  std::string last;
  for (const std::string& part : wrapped(word_first + printable(reason(record)), out.width()))
    last += (last.empty() ? "" : "\n") + part;
  out.line((tells_findings(record) ? head : out.painted(head, verdict)) + last.substr(head.size()));
  // What an undecided run lacks stands in its rows.
  return out.take() + (verdict == Verdict::fail ? causes_text(record.causes, width) : "");
}

}  // namespace tachproof
