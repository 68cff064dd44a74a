// A rig file as the bench writes it: small, in blocks, with a comment where its
// owner may want to say more.
#pragma once

#include <string>

#include "bench/files/files.h"

namespace tachproof {

// Reads back as `rig`, without the faults and behaviour of a simulated unit.
// Paths are written as they stand in `rig`: relative to where the file will be.
// Wires of one lamp must follow each other. `heading`: the comment at the top,
// one line.
std::string rig_yaml(const RigFile& rig, const std::string& heading);

}  // namespace tachproof
