// From a rig file to a rig. A new kind of source or watcher is a folder beside this file and one line in
// factory.cc.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/kinds.h"
#include "bench/rigs/rig.h"
#include "core/gauge/gauge.h"

namespace tachproof {

// Every kind there is, in the order in which a message names them.
const std::vector<const SourceKind*>& source_kinds();
const std::vector<const WatchKind*>& watch_kinds();
const std::vector<const SupplyKind*>& supply_kinds();

// The kind of a part of a rig file. Throws std::logic_error where the file was never read and names none.
const SourceKind& kind_of(const RigFile::SourcePart& source);
const WatchKind& kind_of(const RigFile::WatchPart& watch);
const SupplyKind& kind_of(const RigFile::SupplyPart& supply);
// Software stands in for the device that plays.
bool source_is_software(const std::string& word);  // of a record, which may name what is no kind's
// The camera that watches; null where none does.
const CameraSettings* filmed_by(const RigFile& rig);
// The rig of a clip: played before, and seen by its camera.
RigFile rig_of_clip(const CameraSettings& camera);
// The same source, with the watcher that keeps its pace and sees nothing.
RigFile unwatched(const RigFile& rig);

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
// Whether it can cut the unit's supply, or set its voltage; else a person does.
bool can_power(const RigFile& rig);
bool can_supply(const RigFile& rig);
// What is wrong with what this scenario wants of the supply: nothing, or errors at its steps.
std::vector<FileError> refused_supply(const RigFile& rig, const Gauge& gauge, const ScenarioFile& scenario,
                                      const std::string& scenario_file);
// What source and supply state of their time, by the rig file alone.
SourceTiming source_states(const RigFile& rig, double pulses_per_rev);

}  // namespace tachproof
