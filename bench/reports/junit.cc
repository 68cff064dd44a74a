// junit.xml of a run.
#include <fmt/format.h>

#include <map>
#include <set>
#include <string>
#include <vector>

#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/junit_suite.h"
#include "bench/reports/run_report.h"
#include "core/judge/row_place.h"

namespace tachproof {
namespace {

using Case = JunitCase;

// Names tell a case apart from run to run, so they hold no measured numbers.
class Cases {
 public:
  void add(Case c) {
    const std::string name = printable(c.name), each = each_of(c.group);
    c.name = each.empty() ? name : name + each + "1";
    for (int n = ++uses_[c.group + '/' + name]; !used_.insert(c.group + '/' + c.name).second; ++n)
      c.name = each.empty() ? fmt::format("{} ({})", name, n) : fmt::format("{}{}{}", name, each, n);
    all_.push_back(std::move(c));
  }
  const std::vector<Case>& all() const { return all_; }

 private:
  // What is counted of a group whose names come again and again.
  static std::string each_of(std::string_view group) {
    if (group == "transitions") return ", visit ";
    if (group == "presses" || group == "dims") return ", press ";
    return group == "powers" ? " " : "";
  }

  std::map<std::string, int> uses_;
  std::set<std::string> used_;
  std::vector<Case> all_;
};

std::string allowed(const TransitionResult& t) {
  return fmt::format("allowed: between {} s and {} s, nominal {} rpm", fixed(to_seconds(t.earliest), 3),
                     fixed(to_seconds(t.latest), 3), fixed(t.nominal_rpm, 2));
}

std::string describe(const TransitionResult& t) {
  if (!t.seen) return "not seen; " + allowed(t);
  return fmt::format("seen at {} s, {} rpm, deviation {} rpm, U {} rpm; {}", fixed(to_seconds(t.at), 3),
                     fixed(t.observed_rpm, 2), with_sign(t.deviation_rpm, 2),
                     fixed(t.expanded_uncertainty_rpm, 2), allowed(t));
}

std::string with_remark(std::string text, const std::string& remark) {
  return remark.empty() ? text : text + "; " + remark;
}

std::string describe(const BoundaryResult& b) {
  const std::string text =
      fmt::format("threshold {} rpm, nominal {} rpm, U {} rpm, {} visits", fixed(b.threshold_rpm, 2),
                  fixed(b.nominal_rpm, 2), fixed(b.expanded_uncertainty_rpm, 2), b.visits);
  return with_remark(text, b.remark);
}

std::string describe(const DeadbandResult& d) {
  const std::string text = fmt::format("{} rpm wide, set {} rpm, U {} rpm", fixed(d.width_rpm, 2),
                                       fixed(d.nominal_rpm, 2), fixed(d.expanded_uncertainty_rpm, 2));
  return with_remark(text, d.remark);
}

std::string describe(const ResponseResult& r) {
  const std::string text = fmt::format("response {} ms, U {} ms, {} visits", fixed(r.response_ms, 1),
                                       fixed(r.expanded_uncertainty_ms, 1), r.visits);
  return with_remark(text, r.remark);
}

// Nothing else is a case: an open row that was not asked for would be an error.
template <class Row>
bool asked(const Row& row) {
  return row.asked || row.verdict != Verdict::undecided;
}

std::string describe(const BlinkResult& b) {
  return fmt::format("{} Hz, duty {}, {} cycles", fixed(b.hz, 2), fixed(b.duty, 2), b.cycles);
}

std::string describe(const PressResult& p) {
  const std::string_view said = press_word(p);
  const std::string taken = said.empty() ? fmt::format("taken {} rpm, U {} rpm", fixed(p.taken_rpm, 2),
                                                       fixed(p.expanded_uncertainty_rpm, 2))
                                         : std::string(said);
  return with_remark(fmt::format("pressed at {} s, at {} rpm, which the unit has to {}: {}; reaction {} ms",
                                 fixed(to_seconds(p.at), 3), fixed(p.rpm, 1),
                                 p.must_refuse ? "refuse" : "take", taken, fixed(p.reaction_ms, 1)),
                     p.remark);
}

std::string describe(const DimResult& d) {
  return with_remark(
      fmt::format("{}{} %, U {} %, set {} %", d.lamp.empty() ? "" : d.lamp + ": ", fixed(100 * d.level, 2),
                  fixed(100 * d.expanded_uncertainty, 2), fixed(100 * d.set_level, 1)),
      d.remark);
}

std::string describe(const PowerResult& p) {
  const std::string what =
      std::isfinite(p.lowest_v) ? fmt::format("fed {} V", fixed(p.lowest_v, 1)) : std::string("cut");
  return with_remark(
      fmt::format("{} at {} s, back at {} s; woke {} ms after that, U {} ms; greeted for {} ms", what,
                  fixed(to_seconds(p.at), 3), fixed(to_seconds(p.back_at), 3), fixed(p.boot_ms, 1),
                  fixed(p.expanded_uncertainty_ms, 1), fixed(p.greeted_ms, 1)),
      p.remark);
}

std::string describe(const FlickerResult& f) {
  return fmt::format("{} changes in {} s, {} per minute, at most {} with 95 % confidence, limit {}",
                     f.changes, fixed(f.duration_s, 1), fixed(f.rate_per_min, 3),
                     fixed(f.upper_95_per_min, 3), fixed(f.limit_per_min, 3));
}

std::string describe(const AnswerResult& a) {
  return fmt::format("{}; expected: {}", a.answer.empty() ? "no answer" : "answer: " + a.answer, a.expected);
}

// Whether a finding speaks of something that has a case of its own.
bool has_own_case(FindingKind kind) {
  switch (kind) {
    case FindingKind::missing_transition:
    case FindingKind::early:
    case FindingKind::late:
    case FindingKind::slow_response:
    case FindingKind::blink_rate:
    case FindingKind::blink_missing:
    case FindingKind::flicker:
    case FindingKind::press_ignored:
    case FindingKind::press_not_refused:
    case FindingKind::wrong_take:
    case FindingKind::dim_level:
    case FindingKind::settings_lost:
    case FindingKind::settings_kept:
    case FindingKind::slow_boot:
    case FindingKind::supply_drift:
    case FindingKind::brown_out:
    case FindingKind::wrong_answer: return true;
    default: return false;
  }
}

Case steady_case(const RunResult& r) {
  Case steady{"steady cues", "steady", 0, r.complete ? Verdict::pass : Verdict::undecided, ""};
  for (const Finding& f : r.findings) {
    if (has_own_case(f.kind)) continue;
    steady.verdict = worst(steady.verdict, verdict_of(f.kind));
    if (steady.message.size() < 2000) steady.message += heading(f) + ": " + f.message + " ";
  }
  if (steady.verdict == Verdict::undecided && steady.message.empty())
    steady.message = "the run did not get to its end";
  return steady;
}

// "beyond rising, after set 1 at 4210 rpm".
template <class Row>
std::string way(const Row& row) {
  return in_state(fmt::format("{} {}", row.boundary, word(row.direction)), row.state);
}

Cases cases_of(const RunRecord& record) {
  const RunResult& r = record.result;
  Cases cases;
  for (const TransitionResult& t : r.transitions)
    if (asked(t))
      cases.add(
          {way(t), "transitions", t.seen ? to_seconds(t.at) : to_seconds(t.latest), t.verdict, describe(t)});
  for (const BoundaryResult& b : r.boundaries)
    if (asked(b)) cases.add({way(b), "boundaries", 0, b.verdict, describe(b)});
  for (const DeadbandResult& d : r.deadbands)
    if (asked(d)) cases.add({row_place(d), "deadbands", 0, d.verdict, describe(d)});
  for (const ResponseResult& d : r.responses)
    if (asked(d)) cases.add({way(d), "responses", 0, d.verdict, describe(d)});
  for (const BlinkResult& b : r.blinks) cases.add({row_place(b), "blinks", 0, b.verdict, describe(b)});
  for (const PressResult& p : r.presses)
    cases.add({p.button, "presses", to_seconds(p.at), p.verdict, describe(p)});
  for (const DimResult& d : r.dims) cases.add({d.button, "dims", to_seconds(d.at), d.verdict, describe(d)});
  for (const PowerResult& p : r.powers)
    cases.add({std::string(power_word(p)), "powers", to_seconds(p.at), p.verdict, describe(p)});
  for (const FlickerResult& f : r.flicker)
    cases.add({fmt::format("{} at {} rpm", f.boundary, fixed(f.mean_rpm, 1)), "flicker", f.duration_s,
               f.verdict, describe(f)});
  for (const AnswerResult& a : r.answers)
    cases.add({a.question, "answers", to_seconds(a.at), a.verdict, describe(a)});
  cases.add(steady_case(r));
  // The verdict itself, so that a suite is green only when the run is a pass.
  const std::string cause = in_one_line(record.causes);
  cases.add({"verdict of the run", "run", to_seconds(r.duration), reported_verdict(r),
             cause.empty() ? reason(record) : cause});
  return cases;
}

}  // namespace

std::string junit_xml(const RunRecord& record) {
  JunitSuite suite;
  suite.name = record.scenario_name + " on " + record.gauge_name;
  suite.seconds = to_seconds(record.result.duration);
  suite.properties = {{"tool_version", record.tool_version},
                      {"unit_serial", record.unit_serial},
                      {"gauge", record.gauge_name},
                      {"gauge_sha256", record.gauge_sha256},
                      {"scenario", record.scenario_name},
                      {"scenario_sha256", record.scenario_sha256},
                      {"seed", std::to_string(record.seed)},
                      {"source", record.source},
                      {"watch", record.watch},
                      {"started", record.started},
                      {"pulses", std::to_string(record.result.evidence.pulses)},
                      {"lamp_changes", std::to_string(record.result.evidence.lamp_changes)},
                      {"lost", std::to_string(record.result.evidence.lost)}};
  suite.cases = cases_of(record).all();
  // Nothing was judged, so nothing is red or green.
  if (tells_findings(record))
    for (JunitCase& c : suite.cases) c.skipped = true;
  return junit_xml(suite);
}

}  // namespace tachproof
