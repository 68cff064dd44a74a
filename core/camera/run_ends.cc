#include "core/camera/run_ends.h"

#include <algorithm>
#include <string>

#include "core/judge/expectation.h"

namespace tachproof {
namespace {

bool settled(const Reach& reach) { return reach.lowest == reach.highest; }

std::size_t below(const ExpectedTransition& t) { return t.boundary - 1; }
std::size_t before(const ExpectedTransition& t) {
  return t.direction == Direction::rising ? below(t) : t.boundary;
}
std::size_t after(const ExpectedTransition& t) {
  return t.direction == Direction::rising ? t.boundary : below(t);
}

}  // namespace

std::variant<RunEnds, std::string> run_ends(const Gauge& gauge, const Profile& profile, Channels wired) {
  const ExpectedRun run = expect(gauge, profile);
  const std::vector<Reach>& reaches = run.reaches;
  if (run.transitions.size() < 2)
    return std::string(run.transitions.empty() ? "the scenario demands no lamp change"
                                               : "the scenario demands only 1 lamp change") +
           "; 2 are needed";
  const auto by_latest = [](const auto& a, const auto& b) { return a.latest < b.latest; };
  const auto by_earliest = [](const auto& a, const auto& b) { return a.earliest < b.earliest; };
  const ExpectedTransition& first =
      *std::min_element(run.transitions.begin(), run.transitions.end(), by_latest);
  const ExpectedTransition& last =
      *std::max_element(run.transitions.begin(), run.transitions.end(), by_earliest);
  const auto apart = [&](std::size_t one, std::size_t other) {
    const Cue &a = gauge.windows[one].cue, &b = gauge.windows[other].cue;
    return ((a.steady ^ b.steady) | (a.blinking ^ b.blinking)) & wired;
  };
  // A spell may lead through several windows, and a fast unit shows only the last of them.
  const auto moves = [&](std::size_t still, std::size_t lowest, std::size_t highest) {
    Channels all = 0;
    for (std::size_t w = lowest; w <= highest; ++w) all |= apart(still, w);
    return all;
  };
  const auto blinks = [&](std::size_t window) { return (gauge.windows[window].cue.blinking & wired) != 0; };

  if (!settled(reaches.front()) || !settled(reaches.back()))
    return "where the scenario begins or ends, a sound unit may show either of two windows";
  if (apart(before(first), after(first)) == 0 || apart(before(last), after(last)) == 0)
    return "the scenario's first or last change is of no lamp that is watched";
  if (blinks(reaches.front().lowest) || blinks(reaches.back().lowest))
    return "lamps blink when the scenario begins or ends, and a blink cannot set the time";
  // A spell in which the unit may move and need not: is the first one also the
  // first demand's, and the last the last's?
  const auto begins = std::find_if_not(reaches.begin(), reaches.end(), settled);
  const auto next = std::find_if(begins, reaches.end(), settled);
  if (begins == reaches.end() || next->lowest == reaches.front().lowest)
    return "the scenario's first change may come or not: a sound unit need not show it";
  const auto end = std::find_if_not(reaches.rbegin(), reaches.rend(), settled);
  const auto former = std::find_if(end, reaches.rend(), settled);
  if (former == reaches.rend() || former->lowest == reaches.back().lowest)
    return "the scenario's last change may come or not: a sound unit need not show it";

  std::size_t lowest = next->lowest, highest = next->lowest;
  const auto widen = [&](const Reach& reach) {
    lowest = std::min(lowest, reach.lowest);
    highest = std::max(highest, reach.highest);
  };
  std::for_each(begins, next, widen);
  const Channels first_moves = moves(reaches.front().lowest, lowest, highest);
  lowest = highest = former->lowest;
  std::for_each(end, former, widen);
  const Channels last_moves = moves(reaches.back().lowest, lowest, highest);

  const Nanos blink = gauge.blink ? from_seconds(1 / gauge.blink->hz) : 0;
  // A lamp that is to blink may begin dark; one that blinked may end dark.
  const bool first_blinks = blinks(after(first)) || blinks(next->lowest),
             last_blinks = blinks(before(last)) || blinks(former->lowest);
  return RunEnds{.first = {begins->from, first.latest + (first_blinks ? blink : 0), first_moves},
                 .last = {last.earliest - (last_blinks ? blink : 0), end.base()->from, last_moves},
                 .duration = profile.duration()};
}

}  // namespace tachproof
