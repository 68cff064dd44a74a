// A camera in a rig file: `kind: camera`, a device or a clip.
#pragma once

#include "bench/rigs/kinds.h"

namespace tachproof {

//     watch: {kind: camera, clip: FILE_OR_FOLDER, regions: FILE}
//            or device: /dev/... for clip; sync, fps, exposure_ms, readout_ms, gain,
//            stamp_delay_ms: {from: N, to: N}
//
// A device watches what a source plays; a clip is of a run that was played before.
const WatchKind& camera_watch_kind();

}  // namespace tachproof
