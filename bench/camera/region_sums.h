// The pixels of each region, summed: from a JPEG with only the rows and columns
// round the regions decoded, or from a whole picture.
#pragma once

#include <cstdint>
#include <opencv2/core.hpp>
#include <span>
#include <vector>

#include "bench/camera/frame_source.h"
#include "bench/files/regions.h"
#include "core/camera/lamp_colour.h"

namespace tachproof {

struct RegionSums {
  PixelSums core, rim;
};

class RegionSummer {
 public:
  // `with_light`: PixelSums::light, too.
  RegionSummer(const std::vector<LampRegion>& regions, int width, int height, bool with_light = false);

  // The camera has moved: regions lie this much right of and below where they
  // were taught. Parts outside the frame are left out.
  void shift(int right, int down);

  const std::vector<RegionSums>& of_picture(const cv::Mat& bgr);
  const std::vector<RegionSums>& of_planes(const Planes& planes);
  // Null when the JPEG is damaged, as a camera's now and then are: half of it may
  // be grey. Throws CameraError when it is not of the taught size.
  const std::vector<RegionSums>* of_jpeg(std::span<const std::uint8_t> jpeg);

 private:
  struct Span {  // of one row of one region
    int from = 0, to = 0;
    std::uint32_t region = 0;
    bool core = false;
  };
  void place();
  void check_size(int width, int height) const;

  std::vector<LampRegion> regions_;
  int width_, height_;
  const bool with_light_;
  int right_ = 0, down_ = 0;
  std::vector<std::vector<Span>> rows_;  // by row of the frame
  int left_edge_ = 0, right_edge_ = 0;   // of all spans
  std::vector<RegionSums> sums_;
  std::vector<std::uint8_t> row_;
};

}  // namespace tachproof
