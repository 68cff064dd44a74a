// The faults that a simulated unit can be given. Their names and what they
// take are in fault_catalogue() (bench/rigs/simulated/simulated_unit.h).
#pragma once

#include <string>

#include "bench/files/files.h"
#include "bench/rigs/simulated/unit_settings.h"

namespace tachproof {

// Puts the fault into the settings. Throws std::invalid_argument with a
// sentence for an unknown kind, a word or number that is missing, unknown or
// out of range, and a word that does not fit the settings' gauge.
void apply_fault(const FaultSetting& fault, UnitSettings& settings);

// "boundary-moved (boundary on-limit, by_rpm 5)"
std::string describe(const FaultSetting& fault);

}  // namespace tachproof
