#include "core/compare/neighbour_cues.h"

#include <algorithm>

#include "core/compare/cue_states.h"

namespace tachproof {

bool looks_like(const ComparedRun& run, std::size_t window, std::size_t neighbour) {
  if (window >= run.shown.size() || !run.shown[window]) return false;
  const std::vector<Window>& windows = run.gauge.windows;
  const CueStates own = states_of(run.gauge, windows[window].cue);
  const CueStates differs = changes(own, states_of(run.gauge, *run.shown[window]));
  const CueStates towards = changes(own, states_of(run.gauge, windows[neighbour].cue));
  return !differs.empty() && std::all_of(differs.begin(), differs.end(), [&](const auto& state) {
    const auto there = towards.find(state.first);
    return there != towards.end() && there->second == state.second;
  });
}

bool was_missed(const ComparedRun& run, std::size_t boundary) {
  const std::string& name = run.gauge.windows[boundary].name;
  const auto missed = [&](const TransitionResult& row) {
    return row.state.empty() && row.boundary == name && (!row.seen || row.verdict == Verdict::fail);
  };
  const auto found = [&](const Finding& f) {
    return f.kind == FindingKind::missing_transition && f.window == name;
  };
  return std::any_of(run.result.transitions.begin(), run.result.transitions.end(), missed) ||
         std::any_of(run.result.findings.begin(), run.result.findings.end(), found);
}

}  // namespace tachproof
