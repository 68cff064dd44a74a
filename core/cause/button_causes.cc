#include "core/cause/button_causes.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "core/base/text.h"
#include "core/base/words.h"
#include "core/cause/fault.h"
#include "core/judge/press_rows.h"

namespace tachproof {
namespace {

using Kind = Fault::Kind;

struct Known {
  FindingKind finding;
  Kind fault;
  const char* text;
  const char* todo;
};

constexpr Known known[] = {
    {FindingKind::press_ignored, Kind::take_ignored,
     "The unit did not take the rpm when its button was pressed",
     "Press longer; then check the button, its wire and the output that presses it."},
    {FindingKind::press_not_refused, Kind::take_not_refused,
     "The unit takes an rpm that its button has to refuse",
     "Write the range that the button allows to the unit again."},
    {FindingKind::wrong_take, Kind::take_late, "The unit takes another rpm than that of the press",
     "Check which end of the window the button takes, and how long the unit averages; keep the rpm still for "
     "longer before the press."},
    {FindingKind::dim_level, Kind::dim_missing, "A level of dimming is not as set",
     "Write the levels of dimming to the unit again."},
    {FindingKind::settings_lost, Kind::take_lost, "The unit forgets what it took when its supply is cut",
     "Check that the unit stores what it takes; then its memory, or the battery that keeps it."},
    {FindingKind::settings_kept, Kind::settings_reset,
     "The unit keeps what it took, though it has to forget it without supply",
     "Write to the unit again which buttons outlast a loss of power."},
    {FindingKind::wrong_greeting, Kind::greets_wrong, "The unit greets with other lamps than it is set to",
     "Write the greeting to the unit again; then check the wires of those lamps."},
    {FindingKind::slow_boot, Kind::slow_boot, "The unit wakes too late",
     "Check the voltage at the unit while it wakes; then the time to boot in the gauge file."},
    {FindingKind::supply_drift, Kind::supply_drift, "The unit's boundaries move with its supply",
     "Measure the voltage at the unit's plug at each of these levels, and between its ground and the "
     "bench's; if "
     "both are right, replace the unit, or feed it from a regulated supply."},
    {FindingKind::brown_out, Kind::brown_out, "The unit goes dark inside what it may be fed",
     "Measure the voltage at the unit's plug while it is dark: wires and fuses take some of it. If it is "
     "what "
     "was set, replace the unit."},
    {FindingKind::no_return, Kind::no_return, "The unit does not come back after a dip of its supply",
     "Cut its supply for a few seconds: if it wakes then, it needs a new firmware or a new unit; if not, "
     "check its "
     "fuse."},
};

const Known* known_by(FindingKind kind) {
  const auto found =
      std::find_if(std::begin(known), std::end(known), [&](const Known& k) { return k.finding == kind; });
  return found == std::end(known) ? nullptr : found;
}

double rpm_then(const std::vector<Segment>& segments, Nanos t) {
  const auto next = std::upper_bound(segments.begin(), segments.end(), t,
                                     [](Nanos at, const Segment& s) { return at < s.start.whole; });
  if (next == segments.begin()) return 0;
  const Segment& s = *std::prev(next);
  return s.rpm(std::clamp(to_seconds(t - s.start.whole), 0.0, s.lasts_s));
}

std::string with_u(double u, const std::string& unit) { return ", U = " + decimal(u, 1) + " " + unit; }

std::string late_text(double ms, double u) {
  return "The unit takes the rpm of about " + decimal(ms, 0) + " ms before the press" + with_u(u, "ms");
}
constexpr const char* late_todo =
    "Look in the unit's settings for smoothing, and set less of it; keep the rpm still before a press.";

// The takes that went elsewhere: all to the other end of the window, all to the rpm of some time ago, or
// as they were measured.
void say_takes(const Gauge& gauge, const JudgedRun& run, const RunResult& result, Cause& cause,
               CauseChange& change) {
  std::vector<const PressResult*> off;
  for (const PressResult& press : result.presses)
    if (press.verdict == Verdict::fail && !std::isnan(press.taken_rpm)) off.push_back(&press);
  if (off.empty()) return;
  const auto fits_all = [&](auto rpm_of) {
    return std::all_of(off.begin(), off.end(), [&](const PressResult* press) {
      return std::abs(rpm_of(*press) - press->taken_rpm) <=
             press->expanded_uncertainty_rpm + gauge.tolerance.rpm;
    });
  };
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
    const Button* button = button_named(gauge, off.front()->button);
    const std::size_t taken = button == nullptr ? 0 : std::get<TakeRpm>(button->does).boundary;
    if (b == taken || taken == 0 || gauge.windows[b].anchor != gauge.windows[taken].anchor) continue;
    const double apart = gauge.windows[b].from_rpm - gauge.windows[taken].from_rpm;
    if (!fits_all([&](const PressResult& press) { return press.rpm - apart; })) continue;
    change.kind = word(Kind::take_other_end);
    cause.text = "The unit takes the rpm for boundary " + gauge.windows[b].name + ", in place of " +
                 gauge.windows[taken].name;
    cause.todo = "Set in the unit which end of the window its button takes.";
    return;
  }
  // A unit takes what it read last, some ms ago as it is.
  constexpr Nanos longest = 10 * ns_per_s, step = 2 * ns_per_ms, stale = 15 * ns_per_ms;
  Nanos first = 0, last = 0;  // how long ago it may have been
  for (Nanos ago = 2 * stale; ago <= longest && run.evidence.whole(); ago += step) {
    const bool fits = fits_all([&](const PressResult& press) {
      const double sooner = rpm_then(run.evidence.segments(), press.at - ago - stale),
                   later = rpm_then(run.evidence.segments(), press.at - ago + stale);
      return std::clamp(press.taken_rpm, std::min(sooner, later), std::max(sooner, later));
    });
    if (fits && first == 0) first = ago;
    if (fits) last = ago;
    if (!fits && first != 0) break;
  }
  if (first != 0) {
    const double ms = to_ms(first + last) / 2, u = to_ms(last - first) / 2 + to_ms(stale);
    cause.text = late_text(ms, u);
    cause.todo = late_todo;
    change.numbers = {{"by_ms", ms}, {"expanded_uncertainty_ms", u}};
    return;
  }
  const PressResult& press = *off.front();
  const double by = press.taken_rpm - press.rpm;
  cause.text += ": " + decimal(std::abs(by), 1) + " rpm too " + (by > 0 ? "high" : "low") + " at " +
                decimal(press.rpm, 1) + " rpm" + with_u(press.expanded_uncertainty_rpm, "rpm");
  change.numbers = {{"by_rpm", by}, {"expanded_uncertainty_rpm", press.expanded_uncertainty_rpm}};
}

void say_level(const Gauge& gauge, const RunResult& result, Cause& cause, CauseChange& change) {
  for (const DimResult& row : result.dims) {
    if (row.verdict != Verdict::fail || std::isnan(row.level)) continue;
    const Dim& dim = std::get<Dim>(button_named(gauge, row.button)->does);
    const double set = 100 * row.set_level, level = 100 * row.level;
    const std::optional<std::size_t> shown = level_shown(dim, row);
    if (shown && dim.levels[(*shown + dim.levels.size() - 1) % dim.levels.size()] == row.set_level)
      cause.text = "The unit leaves out the level of " + number_text(std::round(10 * set) / 10) + " %";
    cause.text += ": " + row.lamp + " is lit for " + decimal(level, 1) +
                  " % (set: " + number_text(std::round(10 * set) / 10) + " %" +
                  with_u(100 * row.expanded_uncertainty, "%") + ")";
    change.numbers = {
        {"level", set}, {"shown", level}, {"expanded_uncertainty", 100 * row.expanded_uncertainty}};
    return;
  }
}

void say_power(const Gauge& gauge, const RunResult& result, FindingKind kind, Cause& cause,
               CauseChange& change) {
  for (const PowerResult& row : result.powers) {
    if (row.verdict != Verdict::fail) continue;
    if (kind == FindingKind::slow_boot && !std::isnan(row.boot_ms) && gauge.power_up) {
      const double late = row.boot_ms - to_ms(gauge.power_up->boot_to);
      cause.text += ": after " + decimal(row.boot_ms, 0) + " ms (set: at most " +
                    decimal(to_ms(gauge.power_up->boot_to), 0) + " ms" +
                    with_u(row.expanded_uncertainty_ms, "ms") + ")";
      change.numbers = {{"by_ms", late}, {"expanded_uncertainty_ms", row.expanded_uncertainty_ms}};
      return;
    }
    if (kind == FindingKind::settings_lost && !std::isnan(row.off_rpm)) {
      change.kind = word(Kind::settings_reset);
      cause.text = "The unit wakes with other settings: its boundaries are " +
                   decimal(std::abs(row.off_rpm), 1) + " rpm too " + (row.off_rpm > 0 ? "high" : "low") +
                   with_u(row.off_uncertainty_rpm, "rpm");
      cause.todo = "Write the settings to the unit again, cut its supply, and look whether it keeps them.";
      change.numbers = {{"by_rpm", row.off_rpm}, {"expanded_uncertainty_rpm", row.off_uncertainty_rpm}};
      return;
    }
  }
}

// rpm for each volt: the line through what was measured at each voltage, with an offset of its own, by
// weighted least squares.
void say_drift(const Gauge& gauge, const RunResult& result, Cause& cause, CauseChange& change) {
  double w = 0, wx = 0, wy = 0, wxx = 0, wxy = 0;
  for (const StateResult& state : result.states) {
    if (std::isnan(state.fed_v)) continue;
    RunResult rows;
    for (const BoundaryResult& row : result.boundaries)
      if (row.state == state.state) rows.boundaries.push_back(row);
    const Shift shift = shift_of_all(rows, gauge);
    if (shift.rows == 0) continue;
    const double weight = 4 / (shift.expanded_uncertainty * shift.expanded_uncertainty);
    w += weight;
    wx += weight * state.fed_v;
    wy += weight * shift.rpm;
    wxx += weight * state.fed_v * state.fed_v;
    wxy += weight * state.fed_v * shift.rpm;
  }
  const double det = w * wxx - wx * wx;
  if (!(det > 0)) return;
  const double slope = (w * wxy - wx * wy) / det, u = 2 * std::sqrt(w / det);
  cause.text += ": by " + decimal(slope, 1) + " rpm for each volt" + with_u(u, "rpm");
  change.numbers = {{"rpm_per_v", slope}, {"expanded_uncertainty_rpm_per_v", u}};
}

// The highest voltage at which it went dark.
void say_brown_out(const RunResult& result, Cause& cause, CauseChange& change) {
  double volts = -1;
  for (const PowerResult& row : result.powers)
    if (row.went_dark) volts = std::max(volts, row.lowest_v);
  if (volts < 0) return;
  cause.text += ": at " + decimal(volts, 1) + " V";
  change.numbers = {{"at_v", volts}};
}

// One of the kinds that were found.
Cause cause_of_kind(const Gauge& gauge, const JudgedRun& run, const RunResult& result, const Known& one) {
  Cause cause;
  cause.text = one.text;
  cause.todo = one.todo;
  CauseChange change{std::string(word(one.fault)), {}, {}, {}};
  if (one.finding == FindingKind::wrong_take) say_takes(gauge, run, result, cause, change);
  if (one.finding == FindingKind::dim_level) say_level(gauge, result, cause, change);
  if (one.finding == FindingKind::supply_drift) say_drift(gauge, result, cause, change);
  if (one.finding == FindingKind::brown_out) say_brown_out(result, cause, change);
  say_power(gauge, result, one.finding, cause, change);
  cause.changes.push_back(std::move(change));
  return cause;
}

// A question for the highest rpm that was answered as before it was cleared.
bool not_cleared(const RunResult& result, const Finding& finding) {
  if (finding.kind != FindingKind::wrong_answer) return false;
  const auto wrong = std::find_if(result.answers.begin(), result.answers.end(), [&](const AnswerResult& a) {
    return a.at == finding.at && a.verdict == Verdict::fail;
  });
  return wrong != result.answers.end() &&
         std::any_of(result.answers.begin(), wrong, [&](const AnswerResult& a) {
           return a.verdict == Verdict::pass && a.answer == wrong->answer;
         });
}

Cause peak_not_cleared() {
  Cause cause;
  cause.text = "The unit does not clear its highest rpm";
  cause.todo =
      "Press the button again while the dial shows the highest rpm; if it stays, check the button's setting.";
  cause.changes.push_back({std::string(word(Kind::peak_not_cleared)), {}, {}, {}});
  return cause;
}

// To a cause that has something to say already: one more.
void join(Cause& cause, Cause more) {
  if (cause.text.empty()) {
    more.explains = cause.explains;
    more.of = cause.of;
    more.left = cause.left;
    cause = std::move(more);
    return;
  }
  cause.text += "; " + std::string(1, static_cast<char>(more.text[0] + ('a' - 'A'))) + more.text.substr(1);
  if (cause.todo.find(more.todo) == std::string::npos) cause.todo += " " + more.todo;
  for (CauseChange& change : more.changes) {
    const bool there = std::any_of(cause.changes.begin(), cause.changes.end(),
                                   [&](const CauseChange& one) { return one.kind == change.kind; });
    if (!there) cause.changes.push_back(std::move(change));
  }
}

std::ptrdiff_t open_findings(const RunResult& result) {
  return std::count_if(result.findings.begin(), result.findings.end(),
                       [](const Finding& f) { return verdict_of(f.kind) == Verdict::undecided; });
}

template <class Rows>
std::size_t passed(const Rows& rows) {
  return static_cast<std::size_t>(
      std::count_if(rows.begin(), rows.end(), [](const auto& row) { return row.verdict == Verdict::pass; }));
}

// A unit that takes the rpm of some time ago may refuse what it has to take, and take what it has to refuse:
// it is one cause where all that was seen is right for it.
std::optional<Cause> takes_late(const Gauge& gauge, const JudgedRun& run, std::uint64_t findings) {
  const std::vector<PressResult>& presses = run.result.presses;
  const bool any = std::any_of(presses.begin(), presses.end(),
                               [](const PressResult& press) { return press.verdict == Verdict::fail; });
  if (!any || !run.evidence.whole()) return std::nullopt;
  constexpr Nanos longest = 3 * ns_per_s, step = 20 * ns_per_ms, shortest = 60 * ns_per_ms;
  constexpr std::size_t most_work = 2'000'000;
  const std::size_t work = run.evidence.lamp_events().size() + run.evidence.segments().size() + 200;
  Nanos first = 0, last = 0;
  std::size_t left = most_work / work;
  for (Nanos ago = shortest; ago <= longest && left > 0; ago += step, --left) {
    EvidenceLog::Changes changes;
    changes.takes_late = ago;
    const RunResult late = run.evidence.judged(gauge, changes);
    // Where nobody could say what such a unit does, nothing is proven.
    const bool fits = late.verdict != Verdict::fail && open_findings(late) <= open_findings(run.result) &&
                      passed(late.transitions) > 0;
    if (fits && first == 0) first = ago;
    if (fits) last = ago;
    if (!fits && first != 0) break;
  }
  if (first == 0) return std::nullopt;
  const double ms = to_ms(first + last) / 2, u = to_ms(last - first) / 2 + to_ms(step);
  Cause cause;
  cause.text = late_text(ms, u);
  cause.todo = late_todo;
  cause.explains = cause.of = findings;
  cause.changes.push_back({std::string(word(Kind::take_late)), {}, {}, {}});
  cause.changes.back().numbers = {{"by_ms", ms}, {"expanded_uncertainty_ms", u}};
  return cause;
}

bool any_of_kind(const RunResult& result, FindingKind kind) {
  return std::any_of(result.findings.begin(), result.findings.end(),
                     [&](const Finding& f) { return f.kind == kind; });
}

}  // namespace

bool is_of_a_button(FindingKind kind) { return known_by(kind) != nullptr; }

std::uint64_t findings_of_buttons(const RunResult& result) {
  return static_cast<std::uint64_t>(std::count_if(result.findings.begin(), result.findings.end(),
                                                  [](const Finding& f) { return is_of_a_button(f.kind); }));
}

std::vector<Cause> button_causes(const Gauge& gauge, const JudgedRun& run) {
  const RunResult& result = run.result;
  std::vector<const Finding*> against;
  for (const Finding& finding : result.findings)
    if (verdict_of(finding.kind) == Verdict::fail) against.push_back(&finding);
  if (against.empty()) return {};
  Cause all;
  all.explains = all.of = against.size();
  const auto wrong_peak = [&](const Finding* f) { return not_cleared(result, *f); };
  if (result.findings_left_out > 0 || !std::all_of(against.begin(), against.end(), [&](const Finding* f) {
        return is_of_a_button(f->kind) || wrong_peak(f);
      })) {
    std::optional<Cause> late = takes_late(gauge, run, faults_found(result));
    return late ? std::vector<Cause>{std::move(*late)} : std::vector<Cause>{};
  }
  // All of them together are what is wrong: one cause, with a change for each kind.
  for (const Known& one : known)
    if (any_of_kind(result, one.finding)) join(all, cause_of_kind(gauge, run, result, one));
  if (std::any_of(against.begin(), against.end(), wrong_peak)) join(all, peak_not_cleared());
  return {all};
}

void add_button_causes(const Gauge& gauge, const std::vector<JudgedRun>& runs, const Trial& trial,
                       Cause& cause) {
  for (std::size_t run = 0; run < runs.size(); ++run)
    for (const Known& one : known)
      if (any_of_kind(trial.results[run], one.finding))
        join(cause, cause_of_kind(gauge, runs[run], trial.results[run], one));
}

}  // namespace tachproof
