// Software in a rig file: `kind: simulated`, as a source and as a unit that it plays to.
#pragma once

#include "bench/rigs/kinds.h"

namespace tachproof {

//     source: {kind: simulated}
//
// It plays in virtual time: to a simulated unit, or for a clip that was filmed before.
const SourceKind& simulated_source_kind();

//     watch: {kind: simulated, unit: GAUGE_FILE, behaviour: {...}}
//
// `unit` is the gauge file that the simulated unit really runs, relative to the rig file, or
// `gauge-under-test`: whatever gauge it is judged as. `behaviour` is optional, see its reader.
const WatchKind& simulated_watch_kind();

}  // namespace tachproof
