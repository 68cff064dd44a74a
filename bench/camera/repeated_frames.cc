#include "bench/camera/repeated_frames.h"

#include <algorithm>

namespace tachproof {
namespace {

constexpr int every_row = 32;  // noise is the same everywhere
constexpr std::size_t least_frames = 16, most_frames = 64;
// Counts, mean over all pixels and colours. Measured with x264 from 0.02 to 2.3
// bits a pixel and sensor noise of 1 to 2.5 counts: new frames differ by 0.2 or
// more while noise is left; repeated ones by a tenth of that, but for key frames.
constexpr double least_noise = 0.1, share_of_usual = 0.25;

}  // namespace

bool RepeatedFrames::is_last_again(const Frame& frame) {
  if (as_taken_) return is_identical(frame);
  return hardly_differs(frame.planes.owner ? luma_of(frame.planes) : frame.picture);
}

bool RepeatedFrames::is_identical(const Frame& frame) {
  const bool same = frame.jpeg.empty()
                        ? !last_picture_.empty() && last_picture_.size() == frame.picture.size() &&
                              cv::norm(last_picture_, frame.picture, cv::NORM_INF) == 0
                        : last_jpeg_ == frame.jpeg;
  last_jpeg_ = frame.jpeg;
  last_picture_ = frame.jpeg.empty() ? frame.picture.clone() : cv::Mat();
  return same;
}

bool RepeatedFrames::hardly_differs(const cv::Mat& picture) {
  const cv::Mat some(picture.rows / every_row, picture.cols, picture.type(), picture.data,
                     picture.step[0] * every_row);
  const bool comparable = last_picture_.size() == some.size();
  const double differs = comparable ? cv::norm(last_picture_, some, cv::NORM_L1) /
                                          static_cast<double>(some.total() * some.elemSize())
                                    : 0;
  some.copyTo(last_picture_);
  if (!comparable) return false;
  if (differences_.size() >= least_frames) {
    std::vector<double> sorted = differences_;
    const auto low = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 10);
    std::nth_element(sorted.begin(), low, sorted.end());
    if (*low >= least_noise && differs < share_of_usual * *low) return true;
  }
  if (differences_.size() < most_frames)
    differences_.push_back(differs);
  else
    differences_[next_++ % most_frames] = differs;
  return false;
}

}  // namespace tachproof
