// Why a scenario does not catch a fault: a clause with its numbers.
#pragma once

#include <string>

#include "bench/run/fault_trials.h"
#include "core/cause/fault_list.h"
#include "core/gauge/gauge.h"
#include "core/judge/result.h"

namespace tachproof {

// `smallest`: of this kind, that is caught; NaN: none that was tried. `result`: of the unit with
// the fault, a pass.
std::string why_escaped(const Gauge& gauge, const FaultTrials& trials, const ListedFault& listed,
                        double smallest, const RunResult& result);

// Of a result that is undecided: the first reason in it.
std::string why_undecided(const RunResult& result);

}  // namespace tachproof
