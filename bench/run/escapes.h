// Why a scenario does not catch a fault: a clause with its numbers.
#pragma once

#include <string>

#include "bench/run/fault_trials.h"
#include "core/cause/fault_list.h"
#include "core/gauge/gauge.h"
#include "core/judge/result.h"

namespace tachproof {

struct Why {
  std::string clause;  // of this fault alone: "boundary shift is never crossed: add a slow ramp across"
  std::string shared;  // the same for all faults that escape alike: no name, no number of this one
  std::string own;     // what `shared` leaves out and the fault's own words do not say; may be empty
};

// One clause that is nobody's own.
Why same_for_all(const std::string& clause);

// `smallest`: of this kind, that is caught; NaN: none that was tried. `result`: of the unit with
// the fault, a pass.
Why why_escaped(const Gauge& gauge, const FaultTrials& trials, const ListedFault& listed, double smallest,
                const RunResult& result);

// Of a result that is undecided: the first reason in it.
std::string why_undecided(const RunResult& result);

}  // namespace tachproof
