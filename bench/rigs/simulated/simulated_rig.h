// The simulated rig: a source and a watcher in virtual time, joined by a wire.
//
// Time passes only as the source plays: collect(t) sees no further than the
// last block's `until`, so that no pulse can come too late. Once the source
// has ended the wire is silent, and collect may look as far ahead as it likes.
#pragma once

#include <cstdint>
#include <memory>

#include "bench/files/files.h"
#include "bench/rigs/pulse_wire.h"
#include "bench/rigs/rig.h"
#include "core/gauge/gauge.h"

namespace tachproof {

// `unit`: what the unit really runs; `gauge`: what it should run, in whose
// channels the events come. Throws std::invalid_argument, as SimulatedUnit.
//
// The source takes any action on the unit, and cuts or sets its supply: what is
// no button of the unit's gauge has no effect. The watcher answers a question for the peak; no other.
Rig simulated_rig(const Gauge& unit, const Behaviour& behaviour, const Gauge& gauge, std::uint64_t seed = 0);

// The watcher alone, at the end of a wire that another source plays into.
std::unique_ptr<Watcher> simulated_watcher(std::shared_ptr<PulseWire> wire, const Gauge& unit,
                                           const Behaviour& behaviour, const Gauge& gauge,
                                           std::uint64_t seed);

}  // namespace tachproof
