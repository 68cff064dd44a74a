// A plan as a scenario that can be played, kept and graded.
#pragma once

#include <string>

#include "bench/commands/inputs.h"
#include "bench/run/plan_study.h"

namespace tachproof {

// `file`: what it is called in messages; nothing is read or written.
ScenarioInput planned_scenario(const Plan& plan, const std::string& file);

// The plan for this gauge on this rig. Throws UsageError where there is none.
Plan planned_for(const Gauge& gauge, const RigModel& rig, double within_rpm, unsigned threads);

// The plan for this gauge on this rig, as it is played. Throws UsageError where there is none that a sound
// unit would pass.
ScenarioInput plan_to_play(const Gauge& gauge, const RigInput& rig);

// "Catches 190 of 192 faults in 41.3 s of bench time."
std::string plan_answer(const Plan& plan);

}  // namespace tachproof
