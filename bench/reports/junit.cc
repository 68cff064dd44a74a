// junit.xml: one testsuite that satisfies both the schema of Jenkins' xunit
// plug-in (junit-10.xsd) and that of Maven Surefire (3.0.2).
#include <fmt/format.h>

#include <cmath>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "bench/reports/summary.h"
#include "bench/reports/text.h"

namespace tachproof {
namespace {

struct Case {
  std::string name;
  std::string group;  // the last part of its class name
  double seconds = 0;
  Verdict verdict = Verdict::undecided;
  std::string message;  // why it is no pass
};

// Names tell a case apart from run to run, so they hold no measured numbers.
class Cases {
 public:
  void add(Case c) {
    const std::string name = printable(c.name);
    const bool visits = c.group == "transitions";
    c.name = visits ? name + ", visit 1" : name;
    for (int n = ++uses_[c.group + '/' + name]; !used_.insert(c.group + '/' + c.name).second; ++n)
      c.name = visits ? fmt::format("{}, visit {}", name, n) : fmt::format("{} ({})", name, n);
    all_.push_back(std::move(c));
  }
  const std::vector<Case>& all() const { return all_; }

 private:
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

std::string describe(const BoundaryResult& b) {
  const std::string text =
      fmt::format("threshold {} rpm, nominal {} rpm, U {} rpm, {} visits", fixed(b.threshold_rpm, 2),
                  fixed(b.nominal_rpm, 2), fixed(b.expanded_uncertainty_rpm, 2), b.visits);
  return b.remark.empty() ? text : text + "; " + b.remark;
}

std::string describe(const BlinkResult& b) {
  return fmt::format("{} Hz, duty {}, {} cycles", fixed(b.hz, 2), fixed(b.duty, 2), b.cycles);
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

Cases cases_of(const RunRecord& record) {
  const RunResult& r = record.result;
  Cases cases;
  for (const TransitionResult& t : r.transitions)
    cases.add({fmt::format("{} {}", t.boundary, word(t.direction)), "transitions",
               t.seen ? to_seconds(t.at) : to_seconds(t.latest), t.verdict, describe(t)});
  for (const BoundaryResult& b : r.boundaries)
    cases.add({fmt::format("{} {}", b.boundary, word(b.direction)), "boundaries", 0, b.verdict, describe(b)});
  for (const BlinkResult& b : r.blinks)
    cases.add({fmt::format("{}, {}", b.window, b.lamp), "blinks", 0, b.verdict, describe(b)});
  for (const FlickerResult& f : r.flicker)
    cases.add({fmt::format("{} at {} rpm", f.boundary, fixed(f.mean_rpm, 1)), "flicker", f.duration_s,
               f.verdict, describe(f)});
  for (const AnswerResult& a : r.answers)
    cases.add({a.question, "answers", to_seconds(a.at), a.verdict, describe(a)});
  cases.add(steady_case(r));
  // The verdict itself, so that a suite is green only when the run is a pass.
  cases.add({"verdict of the run", "run", to_seconds(r.duration), reported_verdict(r), reason(record)});
  return cases;
}

// Seconds as xs:decimal with three decimals, which every schema takes.
std::string schema_time(double seconds) {
  return fixed(std::isfinite(seconds) && seconds > 0 ? seconds : 0, 3);
}

std::string case_xml(const Case& c, const std::string& suite) {
  std::string xml = fmt::format(R"(  <testcase name="{}" classname="{}.{}" time="{}")", escaped(c.name),
                                suite, c.group, schema_time(c.seconds));
  if (c.verdict == Verdict::pass) return xml + "/>\n";
  const char* const element = c.verdict == Verdict::fail ? "failure" : "error";
  const std::string message = escaped(c.message);
  return xml + fmt::format(">\n    <{0} type=\"{1}\" message=\"{2}\">{2}</{0}>\n  </testcase>\n", element,
                           word(c.verdict), message);
}

std::string properties_xml(const RunRecord& record) {
  const std::pair<const char*, std::string> properties[] = {
      {"tool_version", record.tool_version},
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
  std::string xml = "  <properties>\n";
  for (const auto& [name, value] : properties)
    xml += fmt::format("    <property name=\"{}\" value=\"{}\"/>\n", name, escaped(value));
  return xml + "  </properties>\n";
}

}  // namespace

std::string junit_xml(const RunRecord& record) {
  const Cases cases = cases_of(record);
  std::size_t failures = 0;
  std::size_t errors = 0;
  for (const Case& c : cases.all()) {
    failures += c.verdict == Verdict::fail;
    errors += c.verdict == Verdict::undecided;
  }
  // A dot in a class name starts a new level in CI servers' trees.
  std::string suite = escaped(record.scenario_name + " on " + record.gauge_name);
  for (char& c : suite)
    if (c == '.') c = '_';
  std::string xml = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";
  xml += fmt::format(
      "<testsuite name=\"{}\" tests=\"{}\" failures=\"{}\" errors=\"{}\" skipped=\"0\" time=\"{}\">\n", suite,
      cases.all().size(), failures, errors, schema_time(to_seconds(record.result.duration)));
  xml += properties_xml(record);
  for (const Case& c : cases.all()) xml += case_xml(c, suite);
  return xml + "</testsuite>\n";
}

}  // namespace tachproof
