// Films the teaching profile while a rig's source plays it: a folder of pictures
// from which the lamps can be learned.
#pragma once

#include <filesystem>
#include <string>

#include "bench/files/files.h"
#include "bench/run/runner.h"
#include "core/gauge/gauge.h"

namespace tachproof {

struct TeachingFilm {
  CameraSettings camera;         // from, fps, exposure, gain; a clip stands in for a device
  RigFile rig;                   // its source plays; its own watcher stays out of it
  std::string rig_name;          // for messages
  std::filesystem::path folder;  // is made; pictures and times.txt go there
};

// The action that flashes the bench's lamp in a teaching by this rig: the
// camera's, or "" when its source cannot press it.
std::string teaching_sync(const TeachingFilm& film);

// The output is off when it returns or throws. Throws RigError, a sentence, when
// a device is missing or lost, or `hooks.stop` said so; FileErrors for a rig file
// whose source plays to no unit that a camera could see.
void film_teaching(const TeachingFilm& film, const Gauge& gauge, const RunHooks& hooks);

}  // namespace tachproof
