// A camera as a watcher: a device, or a clip of a run that was filmed.
//
// The camera's time becomes the run's by the sync lamp, which the source flashes
// at the scenario's `press` of that action. Before the first flash nothing is
// known; so a scenario for a camera begins with one. A clip without a sync lamp is
// laid on the run by its first and last change, which are the unit's own: it can
// fail, and never pass (core/camera/run_ends.h, core/judge/judge.h).
//
// Beside a source that times its commands by the host's clock (a signal
// generator) no lamp is needed: V4L2 stamps frames by CLOCK_MONOTONIC too. What
// is open is where in a frame's making the stamp was put. By the V4L2 API that
// depends on the driver: at the earliest it is the start of the first row's
// exposure, at the latest the end of the last row's transfer, for which a frame
// period is allowed (common practice, no published source).
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/camera/camera_process.h"
#include "bench/rigs/camera/camera_stream.h"
#include "bench/rigs/rig.h"
#include "core/gauge/gauge.h"

namespace tachproof {

std::unique_ptr<CameraLines> open_camera_program(const std::vector<std::string>& words);

// `source`: what plays and presses; none beside a clip, where it has been played.
// `open` gets the words for the camera's program. Throws FileErrors for regions
// that do not fit the gauge, or have no sync lamp for a device; RigError when the
// camera cannot be opened or refuses.
Rig camera_rig(const CameraSettings& settings, const Gauge& gauge, std::unique_ptr<Source> source,
               const OpenCamera& open = open_camera_program);

// `zero`: the host's instant 0 of the run, set by the source when it begins.
// `attend`: the source's, for while frames are waited for. Throws as camera_rig
// does, apart from the sync lamp, which is not looked at.
using Attend = std::function<std::optional<Nanos>()>;
std::unique_ptr<Watcher> camera_by_host_clock(const CameraSettings& settings, const Gauge& gauge,
                                              RunZero zero, Attend attend,
                                              const OpenCamera& open = open_camera_program);

}  // namespace tachproof
