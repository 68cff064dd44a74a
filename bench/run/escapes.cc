#include "bench/run/escapes.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "core/base/text.h"
#include "core/cause/shown.h"
#include "core/judge/row_place.h"

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
    if (!t.state.empty() || t.boundary != gauge.windows[boundary].name) continue;
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

// "boundary shift is", "boundaries shift, over-rev are".
std::string those_are(const Gauge& gauge, const char* one, const char* more,
                      const std::vector<std::size_t>& which) {
  return fmt::format("{} {} {}", which.size() == 1 ? one : more, names(gauge, which),
                     which.size() == 1 ? "is" : "are");
}

Why at_boundaries(const Gauge& gauge, const FaultTrials& trials, const ListedFault& listed, double smallest,
                  const RunResult& result, const std::vector<std::size_t>& moved) {
  std::size_t best = moved.front();
  int crossings = 0;
  double slowest = INFINITY;
  for (const std::size_t b : moved) {
    const Passed here = passed(gauge, result, b);
    crossings += here.crossings;
    if (here.slowest_rpm_per_s < slowest) best = b;
    slowest = std::min(slowest, here.slowest_rpm_per_s);
  }
  const std::string which = those_are(gauge, "boundary", "boundaries", moved);
  for (const auto& [holds, what] :
       {std::pair(crossings == 0, " never crossed: add a slow ramp across, both ways"),
        std::pair(std::isinf(slowest),
                  " crossed in steps only, which measure no threshold: add a slow ramp across, both ways")})
    if (holds) return {which + what, std::string("the boundaries are") + what, ""};
  const std::string rate = decimal(slowest, slowest < 10 ? 1 : 0);
  const bool known = listed.sized() && std::isfinite(smallest);
  const std::string seen = known ? decimal(std::abs(smallest - listed.none), 1) : "";
  const std::string asked =
      trials.scenario().what.thresholds ? "" : ", and the scenario does not ask for thresholds";
  return {fmt::format("the slowest ramp across boundary {} has {} rpm per second, too fast to see {}{}",
                      gauge.windows[best].name, rate, known ? "less than " + seen + " rpm" : "this", asked),
          "the slowest ramps across the boundaries are too fast to see them" + asked,
          fmt::format("{} rpm per second across {}{}", rate, gauge.windows[best].name,
                      known ? "; " + seen + " rpm would be seen" : "")};
}

Why in_windows(const Gauge& gauge, const FaultTrials& trials, const Fault& fault,
               const std::vector<std::size_t>& windows) {
  Nanos longest = 0;
  for (const std::size_t w : windows) longest = std::max(longest, trials.shown_for(w));
  const std::string which = those_are(gauge, "window", "windows", windows);
  const std::string own = fault.window ? "" : names(gauge, windows);  // else its own words have it
  if (longest == 0) {
    const std::string what = " never shown for certain: add a hold there";
    return {which + what, "the windows are" + what, own};
  }
  const bool blinks =
      fault.kind == Kind::blink_rate || fault.kind == Kind::blink_duty || fault.kind == Kind::blink_absent;
  if (blinks && !trials.scenario().what.blink) return same_for_all("the scenario does not ask for blinks");
  if (!trials.scenario().what.steady) return same_for_all("the scenario does not ask for steady cues");
  const std::string at_most = "at most " + say_span(longest);
  return {which + " shown for " + at_most + ": hold there for longer",
          "the windows are not shown for long enough: hold there for longer",
          own.empty() ? at_most : own + ": " + at_most};
}

}  // namespace

Why same_for_all(const std::string& clause) { return {clause, clause, ""}; }

Why why_escaped(const Gauge& gauge, const FaultTrials& trials, const ListedFault& listed, double smallest,
                const RunResult& result) {
  const Fault& fault = listed.fault;
  if (is_of_buttons(fault.kind))
    return same_for_all("the scenario does not press the button, or cut the supply, where this shows");
  switch (fault.kind) {
    case Kind::freeze:
      if (trials.shown_for(fault.window.value_or(0)) == 0) break;
      return {"nothing else is shown for certain after window " +
                  gauge.windows[fault.window.value_or(0)].name + ": visit another window after it",
              "nothing else is shown for certain after the windows: visit another one after each", ""};
    case Kind::slow_response:
    case Kind::slow_filter:
      return same_for_all("no response is measured so well that this shows: add steps across the boundaries");
    case Kind::settings_of: return same_for_all("the scenario shows nothing that differs");
    default: break;
  }
  if (const std::vector<std::size_t> windows = recoloured_by(gauge, fault); !windows.empty())
    return in_windows(gauge, trials, fault, windows);
  if (const std::vector<std::size_t> moved = moved_by(gauge, fault); !moved.empty())
    return at_boundaries(gauge, trials, listed, smallest, result, moved);
  return same_for_all("nothing that the scenario asks for shows it");
}

std::string why_undecided(const RunResult& result) {
  for (const Finding& finding : result.findings)
    if (verdict_of(finding.kind) == Verdict::undecided) return finding.message;
  for (const BoundaryResult& row : result.boundaries)
    if (row.asked && row.verdict == Verdict::undecided)
      return fmt::format("boundary {} is not decided{}", row_place(row),
                         row.remark.empty() ? "" : ": " + row.remark);
  for (const TransitionResult& row : result.transitions)
    if (row.asked && row.verdict == Verdict::undecided)
      return fmt::format("a transition at boundary {} is not decided{}", row_place(row),
                         row.remark.empty() ? "" : ": " + row.remark);
  for (const ResponseResult& row : result.responses)
    if (row.asked && row.verdict == Verdict::undecided)
      return fmt::format("the response at boundary {} is not decided{}", row_place(row),
                         row.remark.empty() ? "" : ": " + row.remark);
  for (const DeadbandResult& row : result.deadbands)
    if (row.asked && row.verdict == Verdict::undecided)
      return fmt::format("the deadband at boundary {} is not decided{}", row_place(row),
                         row.remark.empty() ? "" : ": " + row.remark);
  for (const BlinkResult& row : result.blinks)
    if (row.verdict == Verdict::undecided)
      return fmt::format("the blink of {} in window {} is not decided", row.lamp,
                         in_state(row.window, row.state));
  return "too little was decided";
}

}  // namespace tachproof
