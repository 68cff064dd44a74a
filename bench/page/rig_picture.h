// How a rig is wired, drawn.
#pragma once

#include <string>

#include "bench/files/files.h"

namespace tachproof {

// Left what plays, in the middle the unit with its lamps, right what watches; between them the wires. Inline
// SVG with classes of the page's style sheet.
std::string rig_picture(const RigFile& rig);

}  // namespace tachproof
