// A gauge face that nobody makes, filmed by a camera that does not exist: what a
// simulated unit's lamps do, as frames, with everything that goes wrong in real
// ones. The truth is known to the nanosecond.
#pragma once

#include <cstdint>
#include <map>
#include <opencv2/core.hpp>
#include <random>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/timeline.h"

namespace tachproof::test {

struct Shift {
  double from_s = 0;  // of the camera's time
  double right = 0, down = 0;
};

struct Camera {
  int width = 512, height = 288;
  double fps = 30;
  double exposure_ms = 8, readout_ms = 12;
  double run_starts_s = 0.5;  // in the camera's time
  double drift_ppm = 0;       // the camera's clock against the run's
  double lasts_s = 0;
  double brightness = 1.5;  // of a lamp's core; 1 fills the sensor
  double ambient = 1;       // light on the dial, beside the usual
  double mains_hz = 0;      // the room's lamps flicker at this, by +-mains_depth
  double mains_depth = 0;
  double room_light_at_s = 0, room_light = 1;  // from then on, times this
  double shake = 0;                            // pixels, standard deviation, anew in each frame
  double noise = 2;                            // counts, standard deviation
  double blur = 0.8;                           // pixels
  std::vector<Shift> shifts;
  std::vector<int> dropped;                     // frames that are missing
  std::vector<int> repeated;                    // frames that are the last one again
  double glare_from_s = 0, glare_to_s = 0;      // a window's reflection over a lamp
  std::size_t glare_lamp = 0;                   // one more than there are: the sync lamp
  double glare = 1;                             // its light
  std::map<std::string, cv::Vec3f> recoloured;  // channels ("moss white") in another light: B, G, R, linear
  std::uint64_t seed = 1;
};

enum class Clip { mjpg, h264, folder, png_folder };

// What lights in the run's time: the unit's lamps, and the bench's sync lamp.
struct Scene {
  const Gauge& gauge;
  std::vector<LampEvent> lamps;
  std::vector<std::pair<Nanos, Nanos>> flashes;
};

// The same lamps with one channel that comes and goes by degrees, as a filament of this time
// constant does: in slots of a millisecond, each lit in part.
std::vector<LampEvent> by_degrees(const std::vector<LampEvent>& lamps, Channels channel, double time_s);

// The run's time, ns, at this instant of the camera's.
double run_time(const Camera& camera, double camera_s);

// Writes the clip: a video file, or a folder with times.txt. `stamped`: the
// folder's times tell of dropped frames; a video's never do.
void film(const Scene& scene, const Camera& camera, Clip kind, const std::string& to);

// Per lamp, from left to right: what a frame that shows it unchanged shows. The
// colour's index, -1 dark, -2 it changed during the exposure or within 2 % of it.
std::vector<int> truth_of(const Scene& scene, const Camera& camera, Nanos camera_time);

}  // namespace tachproof::test
