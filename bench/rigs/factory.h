// From a rig file to a rig. A new kind of source or watcher is one line here.
#pragma once

#include "bench/files/files.h"
#include "bench/rigs/rig.h"
#include "core/gauge/gauge.h"

namespace tachproof {

// `gauge`: the one on the command line, in whose channels the watcher speaks.
// A board is opened and greeted, but nothing is played yet: throws RigError when
// that fails. Throws FileErrors for kinds that do not go together, and for words
// in the rig file that do not fit its gauge.
Rig make_rig(const RigFile& rig, const std::string& file, const Gauge& gauge, std::uint64_t seed);

// Throws FileErrors for kinds that do not go together; what they name may be missing yet.
void refuse_mixed_kinds(const RigFile& rig, const std::string& file);
// The same without opening anything: the channels that this rig sees of the
// gauge. Throws FileErrors for a rig file that does not fit the gauge.
Channels watched_by(const RigFile& rig, const std::string& file, const Gauge& gauge);
// Why its source cannot play this, as far as is known without opening it.
std::optional<std::string> cannot_play(const RigFile& rig, const PlayRequest& request);
// Whether its source has an output for this action on the unit.
bool can_press(const RigFile& rig, const std::string& action);

}  // namespace tachproof
