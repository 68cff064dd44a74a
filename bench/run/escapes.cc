#include "bench/run/escapes.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "core/base/text.h"
#include "core/cause/shown.h"

namespace tachproof {
namespace {

using Kind = Fault::Kind;

// What the scenario does at one boundary.
struct Passed {
  int crossings = 0;
  double slowest_rpm_per_s = INFINITY;  // of its ramps
};
Passed passed(const Gauge& gauge, const RunResult& result, std::size_t boundary) {
  Passed passed;
  for (const TransitionResult& t : result.transitions) {
    if (t.boundary != gauge.windows[boundary].name) continue;
    ++passed.crossings;
    if (!t.step && t.rate_rpm_per_s != 0)
      passed.slowest_rpm_per_s = std::min(passed.slowest_rpm_per_s, std::abs(t.rate_rpm_per_s));
  }
  return passed;
}

// The boundaries whose thresholds the fault moves.
std::vector<std::size_t> moved_by(const Gauge& gauge, const Fault& fault) {
  std::vector<std::size_t> moved;
  if (!is_change_of_settings(fault.kind) || fault.kind == Kind::no_signal) return moved;
  const Gauge other = with_fault(gauge, fault);
  for (std::size_t b = 1; b < std::min(gauge.windows.size(), other.windows.size()); ++b)
    if (gauge.rising_rpm(b) != other.rising_rpm(b) || gauge.falling_rpm(b) != other.falling_rpm(b))
      moved.push_back(b);
  return moved;
}

// The windows whose cue it changes.
std::vector<std::size_t> recoloured_by(const Gauge& gauge, const Fault& fault) {
  std::vector<std::size_t> changed;
  if (fault.window) changed.push_back(*fault.window);
  if (fault.other_window) changed.push_back(*fault.other_window);
  if (!changed.empty() || !is_change_of_settings(fault.kind)) return changed;
  if (fault.kind == Kind::over_rev_missing) return {gauge.windows.size() - 1};
  const Gauge other = with_fault(gauge, fault);
  for (std::size_t w = 0; w < std::min(gauge.windows.size(), other.windows.size()); ++w) {
    const bool blinks = fault.kind == Kind::blink_rate || fault.kind == Kind::blink_duty;
    if (blinks ? gauge.windows[w].cue.blinking != 0 : !(gauge.windows[w].cue == other.windows[w].cue))
      changed.push_back(w);
  }
  return changed;
}

std::string names(const Gauge& gauge, const std::vector<std::size_t>& windows) {
  std::vector<std::string> all;
  for (const std::size_t w : windows) all.push_back(gauge.windows[w].name);
  if (all.size() > 3) {
    all.resize(3);
    all.emplace_back("...");
  }
  return fmt::format("{}", fmt::join(all, ", "));
}

std::string at_boundaries(const Gauge& gauge, const FaultTrials& trials, const ListedFault& listed,
                          double smallest, const RunResult& result, const std::vector<std::size_t>& moved) {
  std::size_t best = moved.front();
  int crossings = 0;
  double slowest = INFINITY;
  for (const std::size_t b : moved) {
    const Passed here = passed(gauge, result, b);
    crossings += here.crossings;
    if (here.slowest_rpm_per_s < slowest) best = b;
    slowest = std::min(slowest, here.slowest_rpm_per_s);
  }
  const std::string which =
      moved.size() == 1 ? "boundary " + gauge.windows[best].name : "boundaries " + names(gauge, moved);
  if (crossings == 0)
    return which + (moved.size() == 1 ? " is" : " are") + " never crossed: add a slow ramp across, both ways";
  if (std::isinf(slowest))
    return which + (moved.size() == 1 ? " is" : " are") +
           " crossed in steps only, which measure no threshold: add a slow ramp across, both ways";
  std::string text = fmt::format("the slowest ramp across boundary {} has {} rpm per second, ",
                                 gauge.windows[best].name, decimal(slowest, slowest < 10 ? 1 : 0));
  if (listed.sized() && std::isfinite(smallest))
    text += fmt::format("too fast to see less than {} rpm", decimal(std::abs(smallest - listed.none), 1));
  else
    text += "too fast to see this";
  if (!trials.scenario().what.thresholds) text += ", and the scenario does not ask for thresholds";
  return text;
}

std::string in_windows(const Gauge& gauge, const FaultTrials& trials, const Fault& fault,
                       const std::vector<std::size_t>& windows) {
  Nanos longest = 0;
  for (const std::size_t w : windows) longest = std::max(longest, trials.shown_for(w));
  const std::string which = (windows.size() == 1 ? "window " : "windows ") + names(gauge, windows);
  const char* is = windows.size() == 1 ? " is" : " are";
  if (longest == 0) return which + is + " never shown for certain: add a hold there";
  const bool blinks =
      fault.kind == Kind::blink_rate || fault.kind == Kind::blink_duty || fault.kind == Kind::blink_absent;
  if (blinks && !trials.scenario().what.blink) return "the scenario does not ask for blinks";
  if (!trials.scenario().what.steady) return "the scenario does not ask for steady cues";
  return fmt::format("{}{} shown for at most {}: hold there for longer", which, is, say_span(longest));
}

}  // namespace

std::string why_escaped(const Gauge& gauge, const FaultTrials& trials, const ListedFault& listed,
                        double smallest, const RunResult& result) {
  const Fault& fault = listed.fault;
  switch (fault.kind) {
    case Kind::freeze:
      if (trials.shown_for(fault.window.value_or(0)) == 0) break;
      return "nothing else is shown for certain after window " +
             gauge.windows[fault.window.value_or(0)].name + ": visit another window after it";
    case Kind::slow_response:
    case Kind::slow_filter:
      return "no response is measured so well that this shows: add steps across the boundaries";
    case Kind::settings_of: return "the scenario shows nothing that differs";
    default: break;
  }
  if (const std::vector<std::size_t> windows = recoloured_by(gauge, fault); !windows.empty())
    return in_windows(gauge, trials, fault, windows);
  if (const std::vector<std::size_t> moved = moved_by(gauge, fault); !moved.empty())
    return at_boundaries(gauge, trials, listed, smallest, result, moved);
  return "nothing that the scenario asks for shows it";
}

std::string why_undecided(const RunResult& result) {
  for (const Finding& finding : result.findings)
    if (verdict_of(finding.kind) == Verdict::undecided) return finding.message;
  for (const BoundaryResult& row : result.boundaries)
    if (row.asked && row.verdict == Verdict::undecided)
      return fmt::format("boundary {} {} is not decided{}", row.boundary, word(row.direction),
                         row.remark.empty() ? "" : ": " + row.remark);
  for (const TransitionResult& row : result.transitions)
    if (row.asked && row.verdict == Verdict::undecided)
      return fmt::format("a transition at boundary {} is not decided{}", row.boundary,
                         row.remark.empty() ? "" : ": " + row.remark);
  for (const ResponseResult& row : result.responses)
    if (row.asked && row.verdict == Verdict::undecided)
      return fmt::format("the response at boundary {} {} is not decided{}", row.boundary, word(row.direction),
                         row.remark.empty() ? "" : ": " + row.remark);
  for (const DeadbandResult& row : result.deadbands)
    if (row.asked && row.verdict == Verdict::undecided)
      return fmt::format("the deadband at boundary {} is not decided{}", row.boundary,
                         row.remark.empty() ? "" : ": " + row.remark);
  for (const BlinkResult& row : result.blinks)
    if (row.verdict == Verdict::undecided)
      return fmt::format("the blink of {} in window {} is not decided", row.lamp, row.window);
  return "too little was decided";
}

}  // namespace tachproof
