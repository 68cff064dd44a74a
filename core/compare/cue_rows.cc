#include "core/compare/cue_rows.h"

#include <algorithm>
#include <optional>

#include "core/compare/neighbour_cues.h"

namespace tachproof {
namespace {

bool is_wrong(const Comparison& comparison, const std::string& boundary) {
  return std::any_of(comparison.items.begin(), comparison.items.end(), [&](const ComparisonItem& i) {
    return i.what == "threshold" && i.boundary == boundary &&
           (i.word == ChangeWord::unintended || i.word == ChangeWord::missing);
  });
}

}  // namespace

void CueRows::add(Comparison& comparison, const WindowChange& w) {
  const CueStates expected = changes(states_of(before_.gauge, before_.gauge.windows[*w.before].cue),
                                     states_of(after_.gauge, after_.gauge.windows[*w.after].cue));
  ComparisonItem row;
  row.what = "cue";
  row.boundary = w.name;
  row.expected_change = static_cast<double>(expected.size());
  const auto was = *w.before < before_.shown.size() ? before_.shown[*w.before] : std::nullopt;
  const auto is = *w.after < after_.shown.size() ? after_.shown[*w.after] : std::nullopt;
  if (!was || !is) {
    row.remark = std::string("the window was not shown long enough in the ") + (was ? "new" : "old") +
                 " run to read its lamps; hold it longer";
  } else {
    const CueStates observed = wired(changes(states_of(before_.gauge, *was), states_of(after_.gauge, *is)));
    row.observed_change = static_cast<double>(observed.size());
    const bool all_wired = wired(expected).size() == expected.size();
    const bool only_expected = std::all_of(observed.begin(), observed.end(), [&](const auto& state) {
      const auto wanted = expected.find(state.first);
      return wanted != expected.end() && wanted->second == state.second;
    });
    if (!only_expected)
      row.word = ChangeWord::unintended;
    else if (observed.size() < wired(expected).size())
      row.word = ChangeWord::missing;
    else if (all_wired)
      row.word = ChangeWord::as_intended;
    if (row.word == ChangeWord::cannot_tell)
      row.remark = "a lamp that should change is not wired";
    else if (row.word != ChangeWord::as_intended || !expected.empty())
      row.remark = "changed: " + listed(observed) + "; should change: " + listed(expected);
  }
  cues_.emplace_back(comparison.items.size(), *w.after);
  comparison.items.push_back(std::move(row));
}

// Whether it is really gone shows in the cue of the window that took its place.
void CueRows::add_gone(Comparison& comparison, const WindowChange& w) {
  ComparisonItem row;
  row.what = "threshold";
  row.boundary = w.name;
  row.unit = "rpm";
  std::size_t place = 0;
  while (place + 1 < after_.gauge.windows.size() &&
         after_.gauge.windows[place + 1].from_rpm <= w.from_rpm.before)
    ++place;
  row.remark = "the new settings no longer have this boundary; the window " +
               after_.gauge.windows[place].name + " took its place";
  gone_.emplace_back(comparison.items.size(), after_.gauge.windows[place].name);
  comparison.items.push_back(std::move(row));
}

void CueRows::decide(Comparison& comparison) const {
  for (const auto& [index, window] : cues_)
    doubt_beside_a_wrong_boundary(comparison, comparison.items[index], window);
  for (const auto& [index, place] : gone_) decide_gone(comparison.items[index], place);
}

CueStates CueRows::wired(CueStates states) const {
  std::erase_if(states, [&](const auto& state) { return unwired_.contains(state.first); });
  return states;
}

void CueRows::decide_gone(ComparisonItem& gone, const std::string& place) const {
  const bool showed_something_else =
      std::any_of(after_.result.findings.begin(), after_.result.findings.end(), [&](const Finding& f) {
        return f.window == place &&
               (f.kind == FindingKind::wrong_cue || f.kind == FindingKind::extra_transition);
      });
  if (showed_something_else) {
    gone.word = ChangeWord::missing;
    return;
  }
  for (std::size_t i = 0; i < after_.gauge.windows.size(); ++i)
    if (after_.gauge.windows[i].name == place && i < after_.shown.size() && after_.shown[i])
      gone.word =
          *after_.shown[i] == after_.gauge.windows[i].cue ? ChangeWord::as_intended : ChangeWord::missing;
}

// Where a boundary is not where it should be, or a move was missed, part of a
// window shows what its neighbour shows: that says nothing of its own cue.
void CueRows::doubt_beside_a_wrong_boundary(const Comparison& comparison, ComparisonItem& row,
                                            std::size_t window) const {
  if (row.word != ChangeWord::unintended && row.word != ChangeWord::missing) return;
  const std::size_t old_window = old_place(window);
  for (const bool above : {false, true}) {
    if (above ? window + 1 >= after_.gauge.windows.size() : window == 0) continue;
    const std::size_t boundary = above ? window + 1 : window;
    const bool now =
        (is_wrong(comparison, after_.gauge.windows[boundary].name) || was_missed(after_, boundary)) &&
        looks_like(after_, window, above ? window + 1 : window - 1);
    bool before = false;
    if (old_window < before_.gauge.windows.size() &&
        (above ? old_window + 1 < before_.gauge.windows.size() : old_window > 0)) {
      before = was_missed(before_, above ? old_window + 1 : old_window) &&
               looks_like(before_, old_window, above ? old_window + 1 : old_window - 1);
    }
    if (!now && !before) continue;
    row.word = ChangeWord::cannot_tell;
    row.remark = std::string("in the ") + (now ? "new" : "old") + " run the lamps of the neighbour " +
                 after_.gauge.windows[above ? window + 1 : window - 1].name +
                 " were shown in part of this window, because the boundary between them was off or was "
                 "missed; mend that first";
    return;
  }
}

std::size_t CueRows::old_place(std::size_t window) const {
  for (const WindowChange& w : change_.windows)
    if (w.before && w.after && *w.after == window) return *w.before;
  return before_.gauge.windows.size();
}

}  // namespace tachproof
