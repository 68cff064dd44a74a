// What `tachproof-camera` does; see main.cc for how it is called and what it says.
#pragma once

#include <string>

#include "bench/camera/frame_source.h"

namespace tachproof {

struct WatchSettings {
  std::size_t at_once = 0;  // frames that are held back to be looked at together; 0: as suits a clip
  double least_level = 1;   // the unit may dim its lamps to this share of full light
};
// Watches until the frames end, or nobody listens any more.
void watch(const SourceSettings& from, const std::string& regions_file, const WatchSettings& settings);

// Writes every frame of a device into a folder, as it comes, until SIGTERM or
// SIGINT: frame-000000.jpg and times.txt. Says "ready" on stdout at the first.
// A clip or a folder of pictures stands in for a device: its frames come when
// they would, and after the last nothing does.
void film(const SourceSettings& from, const std::string& folder);

struct TeachSettings {
  SourceSettings from;
  std::string gauge_file, scenario_file;
  std::string out;   // the regions file; pictures go beside it
  std::string sync;  // the scenario's action that flashes the sync lamp; may be empty
  double within_px = 12;
};
void teach(const TeachSettings& settings);

}  // namespace tachproof
