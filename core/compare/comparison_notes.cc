#include "core/compare/comparison_notes.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "core/base/text.h"

namespace tachproof {
namespace {

void note_one_rate(Comparison& comparison, const RowsToWord& words) {
  double rate = 0;
  for (const auto& [index, row] : words.rows) rate = std::max(rate, row.only_rate_rpm_per_s);
  if (rate > 0)
    comparison.notes.push_back(
        "Some boundaries were crossed at one rate only, " + decimal(rate, 0) +
        " rpm/s. If a threshold and a response changed so that they cancel at that rate, it does not show "
        "here: play a second rate, or steps.");
}

void note_updates(Comparison& comparison, const RowsToWord& words, const UpdatesOfRuns& updates,
                  double tolerance_rpm) {
  double rpm = 0;
  bool any = false;
  for (const auto& [index, row] : words.rows) {
    const ComparisonItem& item = comparison.items[index];
    if (item.word != ChangeWord::as_intended || !(matters(row) > row.tells)) continue;
    any = true;
    if (item.what == "threshold") rpm = std::max(rpm, matters(row) / 2);
  }
  if (!any) return;
  const std::string period = decimal(updates.bound_s() * 1e3, 1) + " ms";
  const double slow_enough = std::floor(tolerance_rpm / 2 / updates.bound_s());
  comparison.notes.push_back(
      "The unit renews its lamps only every " + period +
      ". So one and the same unit can seem to change from run to run: its response by up to " + period +
      (rpm > 0 ? ", a threshold by up to " + decimal(rpm, 1) + " rpm at the rates that were played" : "") +
      ". Such rows count as intended up to twice that. To find smaller changes, play " +
      (rpm > 0 ? "slower ramps (at most " + decimal(slow_enough, 0) + " rpm/s) and more steps."
               : "more steps."));
}

}  // namespace

void add_notes(Comparison& comparison, const RowsToWord& words, const UpdatesOfRuns& updates,
               double tolerance_rpm) {
  note_one_rate(comparison, words);
  note_updates(comparison, words, updates, tolerance_rpm);
}

}  // namespace tachproof
