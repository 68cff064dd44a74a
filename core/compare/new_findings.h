// What a run found that the one before had not.
#pragma once

#include "core/compare/comparison.h"
#include "core/gauge/settings_change.h"

namespace tachproof {

// Adds a row, unintended, for each finding against the unit that the old run had not,
// in a window where no row of `comparison` tells of it and no number does.
void add_new_findings(Comparison& comparison, const ComparedRun& before, const ComparedRun& after,
                      const SettingsChange& change);

}  // namespace tachproof
