// The drawings of report.html, as inline SVG. Their styles are in the
// report's style sheet, their hatches come from Palette::definitions().
#pragma once

#include <string>

#include "bench/record/record.h"
#include "bench/reports/hatch.h"

namespace tachproof {

// rpm against time with the boundaries, the findings' instants, and for each
// lamp what was expected and what was seen (of a record with a watcher).
std::string overview_drawing(const RunRecord& record, const Trace& trace, const Palette& palette);

// All boundaries' thresholds and their U against the tolerance, rising and falling;
// "" where there are none.
std::string deviations_html(const RunRecord& record);

// What the hatches and lines of the overview mean.
std::string overview_legend(const Palette& palette);

// The surroundings of one transition: the rpm line, the threshold with its
// tolerance, the time in which it had to happen and when it was seen. Empty
// when the trace has nothing there.
std::string close_up_drawing(const RunRecord& record, const Trace& trace, const TransitionResult& transition);

}  // namespace tachproof
