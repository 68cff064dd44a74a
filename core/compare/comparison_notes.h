// What a reader must know of a comparison as a whole.
#pragma once

#include "core/compare/change_word.h"
#include "core/compare/comparison.h"
#include "core/compare/shared_updates.h"

namespace tachproof {

// Adds them: boundaries that were crossed at one rate only, and rows that are as intended
// although the unit's updates hide more than the tolerance. The rows have their words.
void add_notes(Comparison& comparison, const RowsToWord& words, const UpdatesOfRuns& updates,
               double tolerance_rpm);

}  // namespace tachproof
