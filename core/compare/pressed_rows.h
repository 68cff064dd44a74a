// The rows of a unit that was pressed or lost its supply. They are not compared: where a press has
// put a boundary is no matter of the settings. Each is judged by its own run.
#pragma once

#include <string>

#include "core/judge/result.h"

namespace tachproof {

// The unit was pressed, dimmed, or lost its supply.
bool was_pressed(const RunResult& result);
// A row after that fails at this boundary or in this window.
bool fails_when_pressed(const RunResult& result, const std::string& window);
// All that was asked after that passes, and so does what the unit made of it.
bool passes_when_pressed(const RunResult& result);

}  // namespace tachproof
