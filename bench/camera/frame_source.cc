#include "bench/camera/frame_source.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <opencv2/videoio.hpp>

#include "bench/camera/video_device.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

constexpr double least_fps = 1, most_fps = 1000;

std::vector<std::uint8_t> bytes_of(const cv::Mat& packet) {
  return {packet.data, packet.data + packet.total() * packet.elemSize()};
}

bool is_jpeg(const cv::Mat& packet) {
  return packet.isContinuous() && packet.total() * packet.elemSize() > 2 && packet.data[0] == 0xff &&
         packet.data[1] == 0xd8;
}

double sensible_fps(double fps, const std::string& from) {
  if (!(fps >= least_fps && fps <= most_fps))
    throw CameraError(
        fmt::format("{} does not say how many frames a second it has (it says {}); give fps", from, fps));
  return fps;
}

class Folder : public FrameSource {
 public:
  explicit Folder(const SourceSettings& settings) : from_(settings.from) {
    for (const fs::directory_entry& entry : fs::directory_iterator(from_)) {
      const std::string ending = entry.path().extension();
      if (ending == ".jpg" || ending == ".jpeg" || ending == ".png") files_.push_back(entry.path());
    }
    std::sort(files_.begin(), files_.end());
    if (files_.empty()) throw CameraError("the folder " + from_ + " holds no .jpg or .png");
    std::ifstream times(fs::path(from_) / "times.txt");
    for (double s = 0; times >> s;) times_.push_back(from_seconds(s));
    if (times_.empty()) {
      period_ = from_seconds(1 / sensible_fps(settings.fps, "the folder " + from_));
      for (std::size_t i = 0; i < files_.size(); ++i) times_.push_back(static_cast<Nanos>(i) * period_);
      return;
    }
    if (times_.size() != files_.size())
      throw CameraError(
          fmt::format("{}/times.txt has {} times for {} pictures", from_, times_.size(), files_.size()));
    std::vector<Nanos> steps;
    for (std::size_t i = 1; i < times_.size(); ++i) steps.push_back(times_[i] - times_[i - 1]);
    if (!steps.empty()) {
      std::nth_element(steps.begin(), steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2),
                       steps.end());
      period_ = steps[steps.size() / 2];
    }
    if (period_ <= 0) throw CameraError(from_ + "/times.txt does not go forwards");
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

class Video : public FrameSource {
 public:
  explicit Video(const SourceSettings& settings) : from_(settings.from) {
    // The packets as they are; only MJPG's are pictures of their own.
    cv::Mat packet;
    if (capture_.open(from_, cv::CAP_FFMPEG, {cv::CAP_PROP_FORMAT, -1}) && capture_.read(packet))
      raw_ = is_jpeg(packet);
    capture_.release();
    const bool open = raw_ ? capture_.open(from_, cv::CAP_FFMPEG, {cv::CAP_PROP_FORMAT, -1})
                           : capture_.open(from_, cv::CAP_FFMPEG);
    if (!open) throw CameraError("cannot read the video " + from_);
    const double fps = settings.fps > 0 ? settings.fps : capture_.get(cv::CAP_PROP_FPS);
    period_ = from_seconds(1 / sensible_fps(fps, from_));
  }

  bool next(Frame& frame) override {
    if (!capture_.read(raw_ ? packet_ : frame.picture)) return false;
    frame.jpeg.clear();
    if (raw_) frame.jpeg = bytes_of(packet_);
    const Nanos by_count = static_cast<Nanos>(count_) * period_;
    frame.at = raw_ ? by_count : std::llround(capture_.get(cv::CAP_PROP_POS_MSEC) * 1e6);
    ++count_;
    return true;
  }
  Nanos period() const override { return period_; }
  std::string about() const override {
    return fmt::format("{}, {:.2f} frames a second, {}", from_, 1 / to_seconds(period_),
                       raw_ ? "MJPG, timed by counting"
                            : "timed by the file; a repeated frame is told only where its codec left noise");
  }
  bool repeats_show() const override { return raw_; }

 private:
  std::string from_;
  cv::VideoCapture capture_;
  bool raw_ = false;
  cv::Mat packet_;
  Nanos period_ = 0;
  std::uint64_t count_ = 0;
};

}  // namespace

std::unique_ptr<FrameSource> open_frames(const SourceSettings& settings) {
  std::error_code error;
  const fs::file_status status = fs::status(settings.from, error);
  if (!fs::exists(status)) throw CameraError("there is no " + settings.from);
  if (fs::is_directory(status)) return std::make_unique<Folder>(settings);
  if (fs::is_character_file(status)) return open_device(settings, linux_video());
  return std::make_unique<Video>(settings);
}

cv::Mat to_picture(const Frame& frame) {
  return frame.jpeg.empty() ? frame.picture : cv::imdecode(frame.jpeg, cv::IMREAD_COLOR);
}

cv::Mat to_grey(const Frame& frame) {
  if (!frame.jpeg.empty()) return cv::imdecode(frame.jpeg, cv::IMREAD_GRAYSCALE);
  cv::Mat grey;
  cv::cvtColor(frame.picture, grey, cv::COLOR_BGR2GRAY);
  return grey;
}

}  // namespace tachproof
