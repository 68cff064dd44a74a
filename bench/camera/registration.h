// Where the dial is now, beside where it was taught: each of a few patches of
// the taught picture is searched near its place (normalised cross-correlation,
// which neither exposure nor ambient light changes).
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "bench/files/regions.h"

namespace tachproof {

struct DialPlace {
  double right = 0, down = 0;  // pixels
  double ambient = 1;          // light on the dial beside that at teaching, linear
};

class Registration {
 public:
  // Throws CameraError when the dial's picture is missing or of another size.
  explicit Registration(const Regions& regions);
  // Nothing when fewer than half of the patches are found and agree: the camera
  // was moved too far, turned, or is covered.
  std::optional<DialPlace> find(const cv::Mat& grey) const;

 private:
  struct Patch {
    cv::Mat picture;
    cv::Point at;
    double light = 0;
  };
  std::vector<Patch> patches_;
  int reach_;
};

// Squares with much to hold on to, far from everything in `keep_out` (a mask)
// and from each other.
std::vector<std::array<int, 2>> choose_patches(const cv::Mat& grey, const cv::Mat& keep_out);

}  // namespace tachproof
