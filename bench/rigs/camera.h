// A camera as a watcher: a device, or a clip of a run that was filmed.
//
// The camera's time becomes the run's by the sync lamp, which the source flashes
// at the scenario's `press` of that action. Before the first flash nothing is
// known; so a scenario for a camera begins with one.
#pragma once

#include <memory>
#include <string>

#include "bench/files/files.h"
#include "bench/rigs/rig.h"
#include "core/gauge.h"

namespace tachproof {

// `source`: what plays and presses; none beside a clip, where it has been played.
// Throws FileErrors for regions that do not fit the gauge or have no sync lamp,
// RigError when the camera cannot be opened or refuses.
Rig camera_rig(const CameraSettings& settings, const Gauge& gauge, std::unique_ptr<Source> source);

}  // namespace tachproof
