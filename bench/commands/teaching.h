// Teaching as commands do it: from a clip, or live on a rig; and the person's word
// on the picture.
#pragma once

#include <string>

#include "bench/commands/command.h"
#include "bench/files/files.h"
#include "core/gauge/gauge.h"

namespace tachproof {

struct TeachWords {
  std::string gauge_file;
  std::string from;      // clip or folder
  std::string scenario;  // what was played; empty: the teaching scenario
  std::string out;       // the regions file
  std::string sync;      // empty: the bench's lamp was not flashed
  std::string fps, within;
};

// Learns the regions, and asks at a terminal whether they are right. Without one
// the file says at its top that nobody has looked. Not right: there is no file.
// exit_usage: the lamps cannot be learned; the camera's program has said why.
// Throws RigError when that cannot be started.
ExitStatus teach_from_clip(const TeachWords& words);

// Plays the teaching profile on the rig's source, films it by `camera`, and
// teaches from that. `keep`: the folder for the pictures; empty: they are removed.
// Ctrl-C switches the source off. Throws RigError likewise.
ExitStatus teach_live(const Gauge& gauge, const CameraSettings& camera, const RigFile& rig,
                      const std::string& rig_name, TeachWords words, const std::string& keep);

}  // namespace tachproof
