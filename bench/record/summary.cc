#include "bench/record/summary.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <tuple>

#include "bench/files/rig_kinds.h"
#include "bench/record/text.h"
#include "core/base/text.h"
#include "core/judge/row_place.h"

namespace tachproof {
namespace {

int severity(Verdict v) { return v == Verdict::fail ? 2 : v == Verdict::undecided ? 1 : 0; }

template <class Item>
bool was_asked(const Item& item) {
  if constexpr (requires { item.asked; })
    return item.asked || item.verdict != Verdict::undecided;
  else
    return true;
}

// How far a visit is outside of what is allowed; negative inside.
double excess(const TransitionResult& t) {
  if (!t.seen) return std::numeric_limits<double>::infinity();
  const double out = std::fmax(t.deviation_rpm - t.highest_rpm, t.lowest_rpm - t.deviation_rpm);
  return std::isfinite(out) ? out : -std::numeric_limits<double>::infinity();
}

bool worse(const TransitionResult& a, const TransitionResult& b) {
  if (was_asked(a) != was_asked(b)) return was_asked(a);  // what no lamp dates says nothing
  if (severity(a.verdict) != severity(b.verdict)) return severity(a.verdict) > severity(b.verdict);
  return excess(a) > excess(b);
}

std::size_t window_index(const Gauge& gauge, const std::string& name) {
  const auto same = [&](const Window& w) { return w.name == name; };
  return static_cast<std::size_t>(std::find_if(gauge.windows.begin(), gauge.windows.end(), same) -
                                  gauge.windows.begin());
}

template <class Items>
std::size_t count(const Items& items, Verdict v) {
  return static_cast<std::size_t>(std::count_if(
      items.begin(), items.end(), [&](const auto& item) { return was_asked(item) && item.verdict == v; }));
}
template <class Items>
std::size_t count(const Items& items) {
  return static_cast<std::size_t>(
      std::count_if(items.begin(), items.end(), [](const auto& item) { return was_asked(item); }));
}

struct Count {
  std::size_t n;
  std::size_t all;
  std::string_view what, many;  // "blink", "blinks"
};

bool any_dips(const RunResult& r) {
  return std::any_of(r.powers.begin(), r.powers.end(),
                     [](const PowerResult& p) { return std::isfinite(p.lowest_v); });
}

// How many of each kind have this verdict; only kinds that there are.
std::vector<Count> counts(const RunResult& r, Verdict v) {
  const auto kind = [v](const auto& rows, std::string_view what, std::string_view many) {
    return Count{count(rows, v), count(rows), what, many};
  };
  std::vector<Count> all = {kind(r.transitions, "transition", "transitions"),
                            kind(r.boundaries, "threshold", "thresholds"),
                            kind(r.deadbands, "deadband", "deadbands"),
                            kind(r.responses, "response", "responses"),
                            kind(r.blinks, "blink", "blinks"),
                            kind(r.flicker, "flicker count", "flicker counts"),
                            kind(r.presses, "press", "presses"),
                            kind(r.dims, "dimming level", "dimming levels"),
                            kind(r.powers, any_dips(r) ? "power cut or dip" : "power cut",
                                 any_dips(r) ? "power cuts and dips" : "power cuts"),
                            kind(r.answers, "answer", "answers")};
  std::erase_if(all, [](const Count& c) { return c.all == 0; });
  return all;
}

std::string in_words(const Count& c) {
  return fmt::format("{} of {} {}", c.n, c.all, c.all == 1 ? c.what : c.many);
}

// "2 of 14 transitions and 1 of 3 blinks"; empty when nothing has this verdict.
std::string tally(const RunResult& r, Verdict v) {
  std::vector<std::string> parts;
  for (const Count& c : counts(r, v))
    if (c.n > 0) parts.push_back(in_words(c));
  return listed_with_and(parts);
}

const Finding* first_that_makes(const RunResult& r, Verdict v) {
  for (const Finding& f : r.findings)
    if (verdict_of(f.kind) == v) return &f;
  return nullptr;
}

// Its U reaches over the limit.
std::string too_near(const BoundaryResult& b) {
  if (!std::isfinite(b.threshold_rpm))
    return fmt::format("Boundary {}: its threshold was not measured; cross it on a slow ramp", row_place(b));
  const int decimals = decimals_for(b.expanded_uncertainty_rpm);
  return fmt::format(
      "Boundary {}: {} rpm from nominal with U = {} rpm, which reaches over the limit; survey it, or "
      "cross "
      "it more often on slower ramps",
      row_place(b), with_sign(b.threshold_rpm - b.nominal_rpm, decimals),
      fixed(b.expanded_uncertainty_rpm, decimals));
}

// The first row that is open, with what would decide it. What the unit made of a press comes first:
// the rows after it rest on that.
std::string first_remark(const RunResult& r) {
  const auto say = [](const std::string& where, const std::string& remark) {
    return printable(where + ": " + remark);
  };
  const auto at = [](const auto& row, const std::string& what) { return what + " at " + say_time(row.at); };
  const auto open = [](const auto& row) {
    return was_asked(row) && row.verdict == Verdict::undecided && !row.remark.empty();
  };
  for (const PressResult& p : r.presses)
    if (open(p)) return say(at(p, "Press of " + p.button), p.remark);
  for (const DimResult& d : r.dims)
    if (open(d)) return say(at(d, "Press of " + d.button), d.remark);
  for (const PowerResult& p : r.powers)
    if (open(p)) return say(at(p, std::isfinite(p.lowest_v) ? "Supply dip" : "Power cut"), p.remark);
  const auto asked = [&](const auto& row) { return row.asked && open(row); };
  for (const BoundaryResult& b : r.boundaries)
    if (b.asked && b.verdict == Verdict::undecided)
      return b.remark.empty() ? printable(too_near(b)) : say("Boundary " + row_place(b), b.remark);
  for (const DeadbandResult& d : r.deadbands)
    if (asked(d)) return say("Boundary " + in_state(d.boundary + ", deadband", d.state), d.remark);
  for (const ResponseResult& d : r.responses)
    if (asked(d))
      return say("Boundary " + in_state(d.boundary + ", response " + std::string(word(d.direction)), d.state),
                 d.remark);
  for (const TransitionResult& t : r.transitions)
    if (asked(t)) return say("Boundary " + row_place(t), t.remark);
  return "";
}

// "2 presses, 3 dimming levels and 1 power cut pass. ": what was done to the unit beside the rpm.
std::string deeds_that_pass(const RunResult& r) {
  std::vector<std::string> parts;
  const auto add = [&](std::size_t n, const char* one, const char* many) {
    if (n > 0) parts.push_back(fmt::format("{} {}", n, n == 1 ? one : many));
  };
  add(r.presses.size(), "press", "presses");
  add(r.dims.size(), "dimming level", "dimming levels");
  add(r.powers.size(), any_dips(r) ? "power cut or dip" : "power cut",
      any_dips(r) ? "power cuts and dips" : "power cuts");
  if (parts.empty()) return "";
  const bool one = r.presses.size() + r.dims.size() + r.powers.size() == 1;
  return listed_with_and(parts) + (one ? " passes. " : " pass. ");
}

std::string reason_to_pass(const RunResult& r) {
  const std::size_t n = count(r.transitions);
  const std::string rest = deeds_that_pass(r) + "Nothing wrong was seen";
  if (n == 0) return fmt::format("{} in {} s.", rest, fixed(to_seconds(r.duration), 3));
  if (n == 1) return fmt::format("The one expected transition came as it should. {}.", rest);
  return fmt::format("All {} expected transitions came as they should. {}.", n, rest);
}

}  // namespace

std::string between_words(const RpmBetween& b) {
  if (!std::isfinite(b.high_rpm)) return "above " + fixed(b.low_rpm, 1);
  if (!std::isfinite(b.low_rpm)) return "at most " + fixed(b.high_rpm, 1);
  return fmt::format("between {} and {}", fixed(b.low_rpm, 1), fixed(b.high_rpm, 1));
}

std::string as_sentence(std::string text) {
  text = printable(text);
  if (text.starts_with("boundary ")) text.front() = 'B';  // other first words may be names
  if (!text.empty() && text.back() != '.') text += '.';
  return text;
}

std::string shouted(Verdict v) {
  return v == Verdict::pass ? "PASS" : v == Verdict::fail ? "FAIL" : "UNDECIDED";
}

std::string painted(const std::string& text, Verdict v, bool colour) {
  if (!colour) return text;
  const char* const code = v == Verdict::pass ? "32" : v == Verdict::fail ? "1;31" : "1;35";
  return fmt::format("\x1b[{}m{}\x1b[0m", code, text);
}

Verdict reported_verdict(const RunResult& result) {
  return result.complete ? result.verdict : Verdict::undecided;
}

bool is_simulated_unit(const std::string& watch) { return watches_software(watch); }
bool on_simulated_unit(const RunRecord& record) { return is_simulated_unit(record.watch); }

bool tells_findings(const RunRecord& record) {
  return record.purpose == purpose_found && record.result.complete;
}

std::string headline(const RunRecord& record) {
  return tells_findings(record) ? "FOUND" : shouted(reported_verdict(record.result));
}

std::string reason(const RunRecord& record) {
  const RunResult& r = record.result;
  if (tells_findings(record))
    return "This is what the unit does. Nothing was judged against the settings: survey it with the gauge "
           "file that it should follow for a verdict.";
  const Verdict verdict = reported_verdict(r);
  if (!r.closing.empty() && r.complete) return as_sentence(r.closing);
  if (verdict == Verdict::pass) return reason_to_pass(r);
  const Finding* finding = first_that_makes(r, verdict);
  if (finding != nullptr && !finding->message.empty()) return as_sentence(finding->message);
  const std::string what = tally(r, verdict);
  if (verdict == Verdict::fail)
    return what.empty() ? "The unit is not as the settings demand."
                        : "Outside of what is allowed: " + what + ".";
  if (!r.complete) {
    // What a person must know of a run that was cut short is in its notes.
    return r.notes.empty() ? "The run did not get to its end: play it again." : as_sentence(r.notes.front());
  }
  if (!what.empty()) {
    const std::string why = first_remark(r);
    return "Not decided: " + what + (why.empty() ? "." : ". " + as_sentence(why));
  }
  return r.notes.empty() ? "The evidence does not allow a verdict." : as_sentence(r.notes.front());
}

std::string score(const RunResult& result) {
  std::string text;
  for (const Count& c : counts(result, Verdict::pass))
    text += fmt::format("{}{} {}", text.empty() ? "" : ", ", in_words(c), c.n == 1 ? "passes" : "pass");
  return text.empty() ? "nothing" : text;
}

Quantity measured_speed(const BoundaryResult& row, const Drive& drive) {
  return drive.speed_at({row.threshold_rpm, row.expanded_uncertainty_rpm / row.coverage_factor});
}

std::vector<TransitionGroup> transition_groups(const RunRecord& record) {
  const std::vector<TransitionResult>& all = record.result.transitions;
  std::vector<TransitionGroup> groups;
  for (std::size_t i = 0; i < all.size(); ++i) {
    const TransitionResult& t = all[i];
    const auto same = [&](const TransitionGroup& g) {
      return g.boundary == t.boundary && g.direction == t.direction && g.state == t.state;
    };
    auto group = std::find_if(groups.begin(), groups.end(), same);
    if (group == groups.end())
      group = groups.insert(group, TransitionGroup{t.boundary, t.direction, t.state, 0, 0, i, Verdict::pass});
    group->expected += was_asked(t);
    group->seen += was_asked(t) && t.seen;
    if (was_asked(t)) group->verdict = worst(group->verdict, t.verdict);
    if (worse(t, all[group->worst])) group->worst = i;
  }
  std::vector<std::string> states;  // in their order
  for (const TransitionGroup& g : groups)
    if (std::find(states.begin(), states.end(), g.state) == states.end()) states.push_back(g.state);
  const auto place = [&](const std::string& state) { return std::find(states.begin(), states.end(), state); };
  std::stable_sort(groups.begin(), groups.end(), [&](const TransitionGroup& a, const TransitionGroup& b) {
    if (a.state != b.state) return place(a.state) < place(b.state);
    const std::size_t ia = window_index(record.gauge, a.boundary);
    const std::size_t ib = window_index(record.gauge, b.boundary);
    return ia != ib ? ia < ib : a.direction < b.direction;
  });
  return groups;
}

std::string_view press_word(const PressResult& press) {
  if (!press.refused) return "";
  if (*press.refused) return press.must_refuse ? "refused" : "not taken";
  return press.must_refuse || !std::isfinite(press.taken_rpm) ? "taken" : "";
}

double response_at_step_ms(const TransitionResult& t, const Gauge& gauge) {
  return to_ms(t.at - t.nominal + gauge.tolerance.response_from);
}

std::vector<FindingGroup> finding_groups(const RunResult& result) {
  std::map<std::tuple<FindingKind, std::string, std::string>, std::size_t> known;
  std::vector<FindingGroup> groups;
  for (std::size_t i = 0; i < result.findings.size(); ++i) {
    const Finding& f = result.findings[i];
    const auto [at, is_new] = known.try_emplace({f.kind, f.window, f.lamp}, groups.size());
    if (is_new) groups.push_back({i, i, 0});
    groups[at->second].last = i;
    ++groups[at->second].count;
  }
  return groups;
}

std::string heading(const Finding& finding) {
  std::string text = fmt::format("{} at {} s", word(finding.kind), fixed(to_seconds(finding.at), 3));
  if (!finding.window.empty()) text += ", window " + printable(finding.window);
  if (!finding.lamp.empty()) text += ", lamp " + printable(finding.lamp);
  return text;
}

}  // namespace tachproof
