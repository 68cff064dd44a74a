// Gauges that the unit may run instead of the one that it should: files beside it, and the settings
// of the unit's accepted run.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "core/cause/hypothesis.h"

namespace tachproof {

struct OtherGauge {
  std::string file;
  Gauge gauge;
  std::string accepted = {};  // the day of the unit's accepted run that had it, "2026-01-31"; empty: a file
};

// Each that has other settings, in the channels of the court's gauge; those with other lamps are
// passed over. At most some sixty.
std::vector<Hypothesis> hypotheses_of(const Court& court, const std::vector<OtherGauge>& others);

// Which of them tell so much that they belong to the evidence, by their places in `others`: those that
// explain everything, of equal ones the first; where none does, the one that explains most, if that is more
// than half.
std::vector<std::size_t> telling_gauges(Court& court, const std::vector<OtherGauge>& others);

}  // namespace tachproof
