#include "core/cause/hypothesis.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>

#include "core/cause/button_causes.h"
#include "core/cause/seldom_read.h"
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

bool Hypothesis::reads_seldom() const {
  return has(Fault::Kind::dropped_updates) && answers_within == 0 && !has(Fault::Kind::slow_filter);
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
  if (hypothesis.reads_seldom()) read_seldom(trial.hypothesis);
  trial.verdict = Verdict::pass;
  Gauge gauge = as_it_acts(hypothesis.gauge);
  if (hypothesis.answers_within > 0) gauge.tolerance.response_to = hypothesis.answers_within;
  for (const JudgedRun& run : runs_) {
    EvidenceLog::Changes changes;
    changes.wired = ~hypothesis.ignored;
    changes.excused = hypothesis.excused;
    changes.hidden = hypothesis.hidden;
    changes.believed = trial.hypothesis.believed.get();
    changes.noise = hypothesis.noise;
    changes.memo = &fits_;
    trial.results.push_back(run.evidence.judged(gauge, changes));
    const RunResult& result = trial.results.back();
    work_ += run.evidence.lamp_events().size() + run.evidence.segments().size() + 200;
    const std::uint64_t pressed = findings_of_buttons(result);
    trial.pressed += pressed;
    trial.left += faults_found(result) - pressed;
    trial.verdict = worst(trial.verdict, result.verdict);
    // Thresholds that were passed between two readings tell no sizes.
    trial.fit += hypothesis.reads_seldom() ? misfit_of_blinks(hypothesis.gauge, result)
                                           : misfit(hypothesis.gauge, result);
  }
  trial.wrong_s = wrong_s(trial.hypothesis);
  trial.unsaid = unsaid(trial.hypothesis);
  ++judged_;
  return trial;
}

double Court::unsaid(const Hypothesis& hypothesis) const {
  Channels cued = 0;
  for (const Window& window : gauge_.windows) cued |= window.cue.steady | window.cue.blinking;
  double said = 0, all = 0;
  for (std::size_t run = 0; run < runs_.size(); ++run) {
    const Channels wired = roads_[run].wired() & cued;
    const double lasts = to_seconds(roads_[run].until()), lamps = std::popcount(wired);
    double excused = hypothesis.behind_s;
    for (const auto& [from, to] : hypothesis.excused)
      excused += to_seconds(std::min(to, roads_[run].until()) - std::min(from, roads_[run].until()));
    all += lasts * lamps;
    said += std::max(0.0, lasts - excused) * std::popcount(wired & ~hypothesis.ignored);
  }
  return all > 0 ? 1 - said / all : 0;
}

void Court::read_seldom(Hypothesis& hypothesis) const {
  if (runs_.size() != 1) return;
  const Tolerance& t = hypothesis.gauge.tolerance;
  const EvidenceLog& evidence = runs_[0].evidence;
  const Gauge acts = as_it_acts(hypothesis.gauge);
  Road::View view = hypothesis.view();
  view.believed = nullptr;
  const Road road(evidence, acts, (t.response_from + t.response_to) / 2, runs_[0].result.states, view);
  const SeldomRead read = seldom_read(road, acts, evidence.segments());
  hypothesis.believed = read.believed;
  hypothesis.gaps = read.gaps;
  hypothesis.behind_s = read.behind_s;
}

double Court::wrong_s(const Hypothesis& hypothesis) const {
  const std::vector<Road> own = hypothesis.plain() ? std::vector<Road>() : roads(hypothesis);
  double sum = 0;
  for (const Road& road : hypothesis.plain() ? roads_ : own) sum += road.wrong_s(hypothesis.gauge);
  return sum;
}

}  // namespace tachproof
