// What the page does with a rig itself: the lamp test, and a short look at its inputs.
#pragma once

#include <string>

#include "bench/files/files.h"
#include "bench/page/errands.h"

namespace tachproof {

// Plays every window of the gauge, says per window and per wire what was seen, and asks a person about lamps
// that only a person can see: those without a wire, and those that stayed dark. Gives HTML. Throws FileErrors
// where rig and gauge do not go together, RigError where the rig cannot be opened.
std::string lamp_test_html(const RigFile& rig, const std::string& file, const Gauge& gauge, Errand& errand);

// Whether its watcher can tell the levels of its inputs.
bool tells_levels(const RigFile& rig);
// Opens the rig, plays nothing, and says of each input or line whether it is high or low. Throws likewise.
std::string levels_html(const RigFile& rig, const std::string& file, Errand& errand);

}  // namespace tachproof
