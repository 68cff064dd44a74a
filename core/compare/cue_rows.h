// Rows of windows: the cue of each, and boundaries that are gone.
#pragma once

#include <set>
#include <string>
#include <utility>
#include <vector>

#include "core/compare/comparison.h"
#include "core/compare/cue_states.h"
#include "core/gauge/settings_change.h"

namespace tachproof {

class CueRows {
 public:
  // `unwired`: lamp colours without a wire in one of the runs.
  CueRows(const ComparedRun& before, const ComparedRun& after, const SettingsChange& change,
          const std::set<std::string>& unwired)
      : before_(before), after_(after), change_(change), unwired_(unwired) {}

  // One row for a window of both gauges: what should change of its cue, and what did.
  void add(Comparison& comparison, const WindowChange& w);
  // One row for a boundary that the settings no longer have. Its word follows in `decide`.
  void add_gone(Comparison& comparison, const WindowChange& w);
  // Once the thresholds have their words.
  void decide(Comparison& comparison) const;

 private:
  CueStates wired(CueStates states) const;
  void decide_gone(ComparisonItem& gone, const std::string& place) const;
  void doubt_beside_a_wrong_boundary(const Comparison& comparison, ComparisonItem& row,
                                     std::size_t window) const;
  std::size_t old_place(std::size_t window) const;

  const ComparedRun& before_;
  const ComparedRun& after_;
  const SettingsChange& change_;
  const std::set<std::string>& unwired_;
  std::vector<std::pair<std::size_t, std::size_t>> cues_;  // rows, and their windows in the new gauge
  std::vector<std::pair<std::size_t, std::string>> gone_;  // rows, and the windows in their place
};

}  // namespace tachproof
