// From a rig file to a rig. A new kind of source or watcher is one line here.
#pragma once

#include "bench/files/files.h"
#include "bench/rigs/rig.h"
#include "core/gauge.h"

namespace tachproof {

// `gauge`: the one on the command line, in whose channels the watcher speaks.
// A board is opened and greeted, but nothing is played yet: throws RigError when
// that fails. Throws FileErrors for kinds that do not go together, and for words
// in the rig file that do not fit its gauge.
Rig make_rig(const RigFile& rig, const std::string& file, const Gauge& gauge, std::uint64_t seed);

}  // namespace tachproof
