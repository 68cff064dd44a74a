#include "core/cause/hypothesis.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/cause/button_causes.h"
#include "core/cause/shown.h"
#include "core/cause/size_fit.h"

namespace tachproof {
namespace {

// The response that a unit of this run showed: the middle of those measured, else of those allowed.
Nanos usual_response(const Gauge& gauge, const RunResult& result) {
  std::vector<double> ms;
  for (const ResponseResult& row : result.responses)
    if (std::isfinite(row.response_ms)) ms.push_back(row.response_ms);
  const Nanos longest = 10 * gauge.tolerance.response_to + ns_per_s;
  if (ms.empty()) return (gauge.tolerance.response_from + gauge.tolerance.response_to) / 2;
  std::nth_element(ms.begin(), ms.begin() + static_cast<std::ptrdiff_t>(ms.size() / 2), ms.end());
  return std::clamp<Nanos>(from_seconds(ms[ms.size() / 2] / 1e3), 0, longest);
}

// A filter is proven by the rpm that it leaves to be believed.
bool is_in_gauge(Fault::Kind kind) { return is_change_of_settings(kind) && kind != Fault::Kind::slow_filter; }

}  // namespace

bool Hypothesis::plain() const {
  return ignored == 0 && excused.empty() && believed == nullptr && noise.quiet() && answers_within == 0;
}

bool Hypothesis::has(Fault::Kind kind) const {
  return std::any_of(faults.begin(), faults.end(), [&](const Fault& f) { return f.kind == kind; });
}

Road::View Hypothesis::view() const { return {ignored, &excused, believed.get()}; }

Hypothesis with(const Hypothesis& base, const Fault& fault) {
  Hypothesis more = base;
  if (is_in_gauge(fault.kind)) more.gauge = with_fault(base.gauge, fault);
  more.faults.push_back(fault);
  more.u.push_back(not_measured);
  return more;
}

Gauge acting(const Gauge& set, const std::vector<Fault>& faults) {
  Gauge acts = set;
  for (const Fault& fault : faults)
    if (is_in_gauge(fault.kind)) acts = with_fault(acts, fault);
  return acts;
}

std::uint64_t faults_found(const RunResult& result) {
  std::uint64_t found = result.findings_left_out;
  for (const Finding& finding : result.findings) found += verdict_of(finding.kind) == Verdict::fail;
  return found;
}

Court::Court(const Gauge& gauge, std::vector<JudgedRun> runs) : gauge_(gauge), runs_(std::move(runs)) {
  for (const JudgedRun& run : runs_) {
    responses_.push_back(usual_response(gauge, run.result));
    roads_.emplace_back(run.evidence, gauge, responses_.back(), run.result.states, Road::View());
    if (run.result.verdict == Verdict::fail) findings_ += faults_found(run.result);
  }
}

std::vector<Road> Court::roads(const Hypothesis& hypothesis) const {
  std::vector<Road> all;
  for (std::size_t run = 0; run < runs_.size(); ++run)
    all.emplace_back(runs_[run].evidence, gauge_, responses_[run], runs_[run].result.states,
                     hypothesis.view());
  return all;
}

Trial Court::judge(const Hypothesis& hypothesis) {
  Trial trial;
  trial.hypothesis = hypothesis;
  trial.verdict = Verdict::pass;
  Gauge gauge = as_it_acts(hypothesis.gauge);
  if (hypothesis.answers_within > 0) gauge.tolerance.response_to = hypothesis.answers_within;
  for (const JudgedRun& run : runs_) {
    EvidenceLog::Changes changes;
    changes.wired = ~hypothesis.ignored;
    changes.excused = hypothesis.excused;
    changes.hidden = hypothesis.hidden;
    changes.believed = hypothesis.believed.get();
    changes.noise = hypothesis.noise;
    trial.results.push_back(run.evidence.judged(gauge, changes));
    const RunResult& result = trial.results.back();
    work_ += run.evidence.lamp_events().size() + run.evidence.segments().size() + 200;
    const std::uint64_t pressed = findings_of_buttons(result);
    trial.pressed += pressed;
    trial.left += faults_found(result) - pressed;
    trial.verdict = worst(trial.verdict, result.verdict);
    trial.fit += misfit(hypothesis.gauge, result);
  }
  trial.wrong_s = wrong_s(hypothesis.gauge);
  ++judged_;
  return trial;
}

double Court::wrong_s(const Gauge& gauge) const {
  double sum = 0;
  for (const Road& road : roads_) sum += road.wrong_s(gauge);
  return sum;
}

}  // namespace tachproof
