// Frames from a V4L2 device, a video file or a folder of pictures.
//
// Where the frames are JPEG (a device in MJPG, an AVI of MJPG, a folder of
// .jpg) they are handed on as they are, for the parts that matter to be decoded
// alone; else as a picture, or as a video's codec left it.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <opencv2/core.hpp>
#include <stdexcept>
#include <string>
#include <vector>

#include "core/base/time.h"

namespace tachproof {

// What the user should hear: doing what, on what, why.
struct CameraError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

// A picture as a video's codec left it: Y, Cb and Cr, a byte each.
struct Planes {
  std::shared_ptr<const void> owner;  // none: there is no such picture
  int width = 0, height = 0;
  std::array<const std::uint8_t*, 3> data{};
  std::array<std::ptrdiff_t, 3> stride{};
  int chroma_right = 0, chroma_down = 0;  // Cb and Cr have a pixel for 2 to the power of this
  bool full_range = false;                // else 16 to 235, and 16 to 240
  bool bt709 = false;                     // ITU-R BT.709; else BT.601
};

// One of the three.
struct Frame {
  Nanos at = 0;  // the source's own clock; a device: CLOCK_MONOTONIC
  std::vector<std::uint8_t> jpeg;
  cv::Mat picture;  // BGR
  Planes planes;
};

struct SourceSettings {
  std::string from;           // /dev/video0, a file, a folder
  double fps = 0;             // asked of a device; of a folder without times.txt
  double exposure_ms = 0;     // asked of a device; 0: as it is
  double gain = -1;           // likewise; below 0: as it is
  int width = 0, height = 0;  // asked of a device; 0: as it is
};

class FrameSource {
 public:
  virtual ~FrameSource() = default;
  // False at the end. Throws CameraError when a device stops giving frames.
  virtual bool next(Frame& frame) = 0;
  virtual Nanos period() const = 0;
  virtual std::string about() const = 0;  // one line; a device: every property as read back
  // Identical neighbours are one frame twice. Not so where a codec works from
  // frame to frame: see RepeatedFrames.
  virtual bool repeats_show() const = 0;
};

std::unique_ptr<FrameSource> open_frames(const SourceSettings& settings);
double sensible_fps(double fps, const std::string& from);  // or throws CameraError

cv::Mat to_picture(const Frame& frame);  // BGR, whole
cv::Mat to_grey(const Frame& frame);     // whole
cv::Mat luma_of(const Planes& planes);   // as it is; lives as long as they do, not to be written to

}  // namespace tachproof
