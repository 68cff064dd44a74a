// Frames that are the last one again: a camera, its driver or a recorder fills a
// gap with what it had. What was filmed then is not known.
#pragma once

#include <cstddef>
#include <cstdint>
#include <opencv2/core.hpp>
#include <vector>

#include "bench/camera/frame_source.h"

namespace tachproof {

class RepeatedFrames {
 public:
  // `as_taken`: frames come as the camera gave them, so that two are identical
  // only when they are one. Else a codec that works from frame to frame comes
  // between: it changes a repeated frame a little, and may itself repeat what
  // hardly changed. Then a frame is the last one again when it differs from it
  // far less than frames of this source do, by the sensor's noise; where the
  // codec left no noise, none is noticed.
  explicit RepeatedFrames(bool as_taken) : as_taken_(as_taken) {}
  bool is_last_again(const Frame& frame);

 private:
  bool is_identical(const Frame& frame);
  bool hardly_differs(const cv::Mat& picture);

  bool as_taken_;
  std::vector<std::uint8_t> last_jpeg_;
  cv::Mat last_picture_;
  std::vector<double> differences_;  // of the latest frames that were new, in a ring
  std::size_t next_ = 0;
};

}  // namespace tachproof
