// The cameras that are present: V4L2 devices that capture video, and what each
// says of itself. Nothing is filmed for it and no setting is changed.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "bench/rigs/camera/video_kernel.h"

namespace tachproof {

struct CameraMode {
  int width = 0, height = 0;
  double most_fps = 0;   // frames a second; 0: not stated
  bool or_less = false;  // any size up to this one
};

struct CameraFormat {
  std::string name;  // V4L2's four letters, "MJPG"
  std::vector<CameraMode> modes;
};

struct CameraFound {
  std::string name;    // to put into a rig file; stable where the system knows such a name
  std::string device;  // "/dev/video0": another one after the next plugging in
  std::string card, bus;
  std::vector<CameraFormat> formats;  // those that can be read, as they are preferred
  std::string closed_because;         // with the remedy; empty: it can be opened and read
};
std::vector<CameraFound> cameras_present(VideoKernel& kernel);  // by device name

// The formats that can be read, the best first: V4L2's four letters as a number.
const std::vector<std::uint32_t>& readable_formats();
std::string four_letters(std::uint32_t format);

// As V4L2 answers for the open device; throws nothing.
std::vector<std::uint32_t> formats_offered(VideoKernel& kernel, int fd);

}  // namespace tachproof
