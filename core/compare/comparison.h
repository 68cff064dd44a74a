// Two runs side by side: what moved, what should have, and nothing else.
//
// What should change follows from the two gauges alone (core/gauge/settings_change.h),
// what did change from the two results. The word for it rests on E_n
// (core/base/en_score.h); where the evidence is too thin for a word it is
// `cannot_tell`.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/result.h"

namespace tachproof {

enum class ChangeWord { as_intended, unintended, missing, cannot_tell };
std::string_view word(ChangeWord w);  // "as-intended", "unintended", "missing", "cannot-tell"

struct ComparedRun {
  Gauge gauge;  // what the unit should run
  RunResult result;
  std::vector<std::optional<Cue>> shown;  // for each window (core/compare/cue_reading.h)
  double stamp_s = 0;                     // standard uncertainty of a lamp's stamp
  double clock_ppm = 0;                   // the same of the bench's clock
  // What was played, in any form: equal and not empty where both were played the
  // same rpm at every instant. Transitions are then compared in pairs.
  std::string train;
};

struct ComparisonItem {
  // Of presses and losses of power "taken rpm", "reaction", "refused", "light" and "boot", with the place
  // "set 1" or "power 1". Else
  // "threshold", "deadband", "response" (of boundary "(all)" too), "blink rate, top magenta", "blink duty,
  // top magenta", "cue" (then the changes count lamp colours), "finding: late", "update period" where it
  // changed.
  std::string what;
  std::string boundary;                // or window, as it is called now
  std::optional<Direction> direction;  // of thresholds and responses
  std::string unit;                    // "rpm", "ms", "Hz", or empty
  double expected_change = not_measured;
  double observed_change = not_measured;
  double uncertainty = not_measured;  // expanded, of the observed change
  double e_n = not_measured;          // |E_n| of observed minus expected
  double en_limit = not_measured;     // from which on it is no chance among so many
  ChangeWord word = ChangeWord::cannot_tell;
  std::string remark;  // why, where the numbers do not say it; may be empty
};

struct Comparison {
  // pass: all as intended and both runs complete; fail: something unintended or
  // missing; else undecided.
  Verdict verdict = Verdict::undecided;
  double en_limit = 1;  // |E_n| from which on it is no chance among so many, of exact numbers
  std::vector<ComparisonItem> items;
  std::vector<std::string> notes;  // what a reader must know, one sentence each
};

// The words: beyond its en_limit a change is missing when nothing moved and unintended
// otherwise. Up to there it is as intended when a change that the settings want is larger
// than its U, when U is within what matters, and when the difference and U together are
// within it. What matters is the gauge's tolerance (twice that of a deadband), or half of
// the span that is allowed to a response, if the unit's updates are not further apart. Else nobody can tell,
// and the remark says what would.
//
// Where both runs were played the same train, the numbers come from the transitions in
// pairs (core/compare/paired_changes.h), and a response that one boundary cannot tell is that of
// all together, unless it contradicts it. A unit that renews its lamps every P shifts a
// response by up to P from run to run, and a threshold by up to rate x P. Where P is found
// in both runs (core/compare/update_period.h) difference and U together may come to twice that,
// if that is more than the tolerance, and a note says so. So a unit compared with itself is
// as intended, and a change beyond that is not.
//
// Else the numbers come from the runs' own: of a change sqrt(U_old^2 + U_new^2), runs being
// independent; of a deadband, rising minus falling, U_rising + U_falling, its bound whatever
// the correlation (GUM 5.2.2).
Comparison compare(const ComparedRun& before, const ComparedRun& after);

}  // namespace tachproof
