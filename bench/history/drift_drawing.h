// Drawings and tables of how units drift and spread, for every page that shows them. Their styles are the
// classes within, tolerance, nominal, spread, cut, rpm, point, axis, grid, small and strong of the page's
// own style sheet.
#pragma once

#include <string>
#include <vector>

#include "bench/history/trends.h"

namespace tachproof {

// Deviation over time with U as bars; the line is broken where the settings changed, and leaves out values
// that are undecided: they are hollow.
std::string drift_drawing(const Drift& drift);
// "5 runs; since the first +0.31 rpm, U = 0.16 rpm: it has moved"; HTML.
std::string change_words(const Drift& drift);
// All of one unit as thin lines in what is allowed, no taller than a line of text; "" where there is nothing
// to draw.
std::string small_drift_drawing(const std::vector<Drift>& drifts, const std::string& unit);

// For each gauge a drawing of its units' last results, and their Cpk; "" where there are none.
std::string spreads_html(const std::vector<Spread>& spreads);

}  // namespace tachproof
