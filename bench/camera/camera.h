// What `tachproof-camera` does; see main.cc for how it is called and what it says.
#pragma once

#include <string>

#include "bench/camera/frame_source.h"

namespace tachproof {

// Watches until the frames end, or nobody listens any more.
// `at_once`: frames that are held back to be looked at together; 0: as suits a clip.
void watch(const SourceSettings& from, const std::string& regions_file, std::size_t at_once);

struct TeachSettings {
  SourceSettings from;
  std::string gauge_file, scenario_file;
  std::string out;   // the regions file; pictures go beside it
  std::string sync;  // the scenario's action that flashes the sync lamp; may be empty
  double within_px = 12;
};
void teach(const TeachSettings& settings);

}  // namespace tachproof
