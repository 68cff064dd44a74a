#include "bench/camera/frame_source.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "bench/camera/video_device.h"
#include "bench/camera/video_file.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

constexpr double least_fps = 1, most_fps = 1000;
constexpr double furthest_s = 1e9;  // differences of two are nanoseconds in 64 bits

class Folder : public FrameSource {
 public:
  explicit Folder(const SourceSettings& settings) : from_(settings.from) {
    for (const fs::directory_entry& entry : fs::directory_iterator(from_)) {
      const std::string ending = entry.path().extension();
      if ((ending == ".jpg" || ending == ".jpeg" || ending == ".png") && entry.is_regular_file())
        files_.push_back(entry.path());
    }
    std::sort(files_.begin(), files_.end());
    if (files_.empty())
      throw CameraError("the folder " + from_ +
                        " holds no .jpg or .png: name the folder with the clip's pictures");
    const fs::path times_file = fs::path(from_) / "times.txt";
    std::ifstream times;
    if (fs::is_regular_file(times_file)) times.open(times_file);  // opening a pipe would wait
    for (double s = 0; times >> s;) {
      if (!(std::abs(s) < furthest_s))
        throw CameraError(
            fmt::format("{}/times.txt has the time {:g} s: less than {:g} s can be", from_, s, furthest_s));
      times_.push_back(from_seconds(s));
    }
    if (times_.empty()) {
      period_ = from_seconds(1 / sensible_fps(settings.fps, "the folder " + from_));
      for (std::size_t i = 0; i < files_.size(); ++i) times_.push_back(static_cast<Nanos>(i) * period_);
      return;
    }
    if (times_.size() != files_.size())
      throw CameraError(fmt::format("{}/times.txt has {} times for {} pictures: write one time for each",
                                    from_, times_.size(), files_.size()));
    std::vector<Nanos> steps;
    for (std::size_t i = 1; i < times_.size(); ++i) steps.push_back(times_[i] - times_[i - 1]);
    if (!steps.empty()) {
      std::nth_element(steps.begin(), steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2),
                       steps.end());
      period_ = steps[steps.size() / 2];
    }
    if (period_ <= 0)
      throw CameraError("the times in " + from_ + "/times.txt do not rise: give each picture a later time");
  }

  bool next(Frame& frame) override {
    if (next_ == files_.size()) return false;
    const fs::path& file = files_[next_];
    frame.at = times_[next_++];
    frame.jpeg.clear();
    if (file.extension() == ".png") {
      frame.picture = cv::imread(file.string(), cv::IMREAD_COLOR);
      if (frame.picture.empty()) throw CameraError("cannot read the picture " + file.string());
      return true;
    }
    std::ifstream in(file, std::ios::binary);
    frame.jpeg.assign(std::istreambuf_iterator<char>(in), {});
    return true;
  }
  Nanos period() const override { return period_; }
  std::string about() const override { return fmt::format("{} pictures in {}", files_.size(), from_); }
  bool repeats_show() const override { return true; }

 private:
  std::string from_;
  std::vector<fs::path> files_;
  std::vector<Nanos> times_;
  Nanos period_ = 0;
  std::size_t next_ = 0;
};

}  // namespace

double sensible_fps(double fps, const std::string& from) {
  if (!(fps >= least_fps && fps <= most_fps))
    throw CameraError(fmt::format(
        "{} states {:g} frames a second, and only {:g} to {:g} make sense: give the right number (--fps, "
        "or fps in the rig file)",
        from, fps, least_fps, most_fps));
  return fps;
}

std::unique_ptr<FrameSource> open_frames(const SourceSettings& settings) {
  std::error_code error;
  const fs::file_status status = fs::status(settings.from, error);
  if (!fs::exists(status)) throw CameraError("there is no " + settings.from);
  if (fs::is_directory(status)) return std::make_unique<Folder>(settings);
  if (fs::is_character_file(status)) return open_device(settings, linux_video());
  if (!fs::is_regular_file(status))
    throw CameraError(settings.from + " is neither a video file, a folder of pictures nor a camera");
  return open_video_file(settings);
}

cv::Mat to_picture(const Frame& frame) {
  if (frame.planes.owner) return to_picture(frame.planes);
  return frame.jpeg.empty() ? frame.picture : cv::imdecode(frame.jpeg, cv::IMREAD_COLOR);
}

cv::Mat to_grey(const Frame& frame) {
  if (!frame.jpeg.empty()) return cv::imdecode(frame.jpeg, cv::IMREAD_GRAYSCALE);
  cv::Mat grey;
  if (frame.planes.owner) {
    const cv::Mat luma = luma_of(frame.planes);
    if (frame.planes.full_range) return luma.clone();
    luma.convertTo(grey, CV_8U, 255.0 / 219, -16 * 255.0 / 219);
    return grey;
  }
  cv::cvtColor(frame.picture, grey, cv::COLOR_BGR2GRAY);
  return grey;
}

cv::Mat luma_of(const Planes& planes) {
  // OpenCV has no matrix that may not be written to; nobody writes to this one.
  return {planes.height, planes.width, CV_8UC1, const_cast<std::uint8_t*>(planes.data[0]),
          static_cast<std::size_t>(planes.stride[0])};
}

}  // namespace tachproof
