// What two runs' units made of the same presses and losses of power. Boundaries after a press are not
// compared: where it has put them is no matter of the settings, and each run judges them.
#pragma once

#include <string>
#include <vector>

#include "core/compare/compared_numbers.h"
#include "core/compare/comparison.h"
#include "core/judge/result.h"

namespace tachproof {

// The unit was pressed, dimmed, or lost its supply.
bool was_pressed(const RunResult& result);
// A row after that fails at this boundary or in this window.
bool fails_when_pressed(const RunResult& result, const std::string& window);
// All that was asked after that passes, and so does what the unit made of it.
bool passes_when_pressed(const RunResult& result);

// A row of the comparison, paired by button and count: the first press of `set` with the first. Its place is
// "set 1", "power 1", as in the names of states.
struct PressedPair {
  ComparisonItem item;  // what, place, unit and expected change; decided where there are no numbers
  bool numbers = false;
  Measured was = {}, is = {};
  double tells = 0;
};
// `wait_ms`: what the units' updates may shift a reaction by.
std::vector<PressedPair> pressed_pairs(const ComparedRun& before, const ComparedRun& after, double wait_ms);

}  // namespace tachproof
