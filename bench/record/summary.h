// What the reports say in words: the verdict, why, and the worst of each kind.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "bench/record/record.h"
#include "core/judge/result.h"

namespace tachproof {

// "between 3012.4 and 3019.1", "above 3012.4".
std::string between_words(const RpmBetween& between);

// "PASS", "FAIL", "UNDECIDED".
std::string shouted(Verdict v);
// Printable, with a full stop: remarks, findings and notes have none.
std::string as_sentence(std::string text);
// In the verdict's colour on a terminal that has colours.
std::string painted(const std::string& text, Verdict v, bool colour);

// The run's verdict, except that a run which did not get to its end is never
// a pass.
Verdict reported_verdict(const RunResult& result);
// The word at a report's head: the verdict, or "FOUND" where nothing was judged.
std::string headline(const RunRecord& record);
// Nothing was judged against the settings, and all that was to be found was.
bool tells_findings(const RunRecord& record);
// The unit was the built-in one: the run says nothing of a real one.
bool on_simulated_unit(const RunRecord& record);
bool is_simulated_unit(const std::string& watch);  // RunRecord::watch
// One sentence: why the verdict is what it is.
std::string reason(const RunRecord& record);

// "19 of 20 transitions pass, 1 of 1 blink passes": every kind that was judged.
std::string score(const RunResult& result);

// The speed at which the lamps changed, in m/s; NaN where the threshold was not measured.
Quantity measured_speed(const BoundaryResult& row, const Drive& drive);

// What a unit made of a press that takes the rpm: "refused", "not taken" where it had to take it,
// "taken" where nobody knows at which rpm or it had to refuse; "" where its rpm says more, or
// nobody can say.
std::string_view press_word(const PressResult& press);

// All visits of one boundary in one direction, in one state of the unit.
struct TransitionGroup {
  std::string boundary;
  Direction direction = Direction::rising;
  std::string state;
  std::size_t expected = 0;
  std::size_t seen = 0;
  std::size_t worst = 0;  // index into RunResult::transitions
  Verdict verdict = Verdict::pass;
};
// State by state; in each in the gauge's order of windows, rising before falling.
std::vector<TransitionGroup> transition_groups(const RunRecord& record);

// At a step the instant tells the response: how long after the signal's change
// the lamps changed. Only when it was seen.
double response_at_step_ms(const TransitionResult& t, const Gauge& gauge);

// Findings of one kind, window and lamp.
struct FindingGroup {
  std::size_t first = 0, last = 0;  // index into RunResult::findings
  std::size_t count = 0;
};
std::vector<FindingGroup> finding_groups(const RunResult& result);  // in the order of their first

// "late at 12.345 s, window on-limit, lamp left"
std::string heading(const Finding& finding);

}  // namespace tachproof
