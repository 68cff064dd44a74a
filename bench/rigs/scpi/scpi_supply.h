// A power supply beside a source: it feeds the unit from before the run until after it, cuts it, and sets its
// voltage.
//
// It has no clock and no thread of its own: what is due is an errand of the source (rig.h), and comes late by
// no more than `switch_to` says, or the run is undecided. What begins a step is sent at its instant. What
// ends one is sent so early that it is answered before the step's end: then the source, which must keep the
// rpm so long, has its hands free. A ramp is as many steps as the supply answers to.
//
// Its whole state is read back whenever there is time for it, and at the end. Whatever differs from what was
// set is a RigError: an overload, a hand at its front panel or another program has changed it.
#pragma once

#include <memory>

#include "bench/rigs/command_clock.h"
#include "bench/rigs/kinds.h"
#include "bench/rigs/rig.h"
#include "bench/rigs/scpi/power_supply.h"

namespace tachproof {

// When the unit is cut, or fed again, by such a supply beside such a source: bounds.
SourceTiming with_scpi_supply(const PowerSupplySetting& setting, const SourceTiming& source,
                              SourceClock clock);

// The same rig, fed. Sets the supply up, keys locked, output off, and times its answers; its output is on
// from `begin`, which waits `awake` for the unit, until `end`. Throws RigError.
Rig with_supply(Rig rig, const PowerSupplySetting& setting, std::unique_ptr<PowerSupply> supply,
                std::shared_ptr<CommandClock> clock, SourceClock source, Nanos awake);

}  // namespace tachproof
