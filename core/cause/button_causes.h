// Causes of what failed where a button was pressed or the supply was cut. The judge has proven each already:
// it judged what followed against the unit that had done the other thing (core/judge/state_judge.h).
#pragma once

#include <cstdint>
#include <vector>

#include "core/cause/cause.h"
#include "core/cause/hypothesis.h"
#include "core/judge/result.h"

namespace tachproof {

// A finding of this kind says itself what the unit made of a press, or of a loss of power.
bool is_of_a_button(FindingKind kind);
std::uint64_t findings_of_buttons(const RunResult& result);

// Empty unless every finding against the unit is of buttons or supply.
std::vector<Cause> button_causes(const Gauge& gauge, const JudgedRun& run);

// What the unit's buttons and supply have to do with it, added to a cause that explains all else.
void add_button_causes(const Gauge& gauge, const std::vector<JudgedRun>& runs, const Trial& trial,
                       Cause& cause);

}  // namespace tachproof
