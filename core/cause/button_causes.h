// Causes of what failed where a button was pressed or the supply was cut. The judge has proven each already:
// it judged what followed against the unit that had done the other thing (core/judge/state_judge.h).
#pragma once

#include "core/cause/cause.h"
#include "core/judge/result.h"

namespace tachproof {

// Empty unless every finding against the unit is of buttons or supply.
std::vector<Cause> button_causes(const RunResult& result);

}  // namespace tachproof
