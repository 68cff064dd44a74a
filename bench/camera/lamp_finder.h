// Finds each lamp of a gauge in pictures of its windows: a lamp is where it is
// bright in every window that lights it and dark in every other. Lamps that
// always light together are distinguished by their order from left to right.
#pragma once

#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "bench/files/regions.h"
#include "core/gauge/gauge.h"

namespace tachproof {

// What a window looks like: the mean of its frames and, where something blinks,
// the brightest of each pixel.
struct WindowPicture {
  std::size_t window = 0;
  cv::Mat mean, brightest;  // BGR, 8 bits; brightest empty when nothing blinks
  const cv::Mat& lit() const { return brightest.empty() ? mean : brightest; }
};

// Throws CameraError when a lamp is not found, or would not be read back as it was shown.
std::vector<LampRegion> find_lamps(const Gauge& gauge, const std::vector<WindowPicture>& pictures);
LampRegion find_sync(const cv::Mat& off, const cv::Mat& on);
// Radii that leave each lamp's rim free of its neighbours' cores.
void keep_apart(std::vector<LampRegion*> regions);
// The looks of each region in its colours, and a look back at all of them.
void learn_looks(const Gauge& gauge, const std::vector<WindowPicture>& pictures,
                 std::vector<LampRegion>& regions);
void learn_sync(const cv::Mat& off, const cv::Mat& on, LampRegion& sync);

}  // namespace tachproof
