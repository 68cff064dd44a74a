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

namespace tachproof {
namespace {

namespace fs = std::filesystem;

constexpr double least_fps = 1, most_fps = 1000;
const int mjpg = cv::VideoWriter::fourcc('M', 'J', 'P', 'G');

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

class Device : public FrameSource {
 public:
  explicit Device(const SourceSettings& settings) : from_(settings.from) {
    // Any other back-end hides the driver's stamps.
    if (!capture_.open(from_, cv::CAP_V4L2)) throw CameraError("cannot open the camera " + from_);
    capture_.set(cv::CAP_PROP_FOURCC, mjpg);
    if (settings.width > 0) {
      capture_.set(cv::CAP_PROP_FRAME_WIDTH, settings.width);
      capture_.set(cv::CAP_PROP_FRAME_HEIGHT, settings.height);
    }
    if (settings.fps > 0) capture_.set(cv::CAP_PROP_FPS, settings.fps);
    capture_.set(cv::CAP_PROP_CONVERT_RGB, 0);
    // Some drivers take "manual" only after "automatic".
    capture_.set(cv::CAP_PROP_AUTO_EXPOSURE, 3);
    capture_.set(cv::CAP_PROP_AUTO_EXPOSURE, 1);
    capture_.set(cv::CAP_PROP_AUTO_WB, 0);
    capture_.set(cv::CAP_PROP_AUTOFOCUS, 0);
    if (settings.exposure_ms > 0) capture_.set(cv::CAP_PROP_EXPOSURE, std::round(settings.exposure_ms * 10));
    if (settings.gain >= 0) capture_.set(cv::CAP_PROP_GAIN, settings.gain);
    read_back(settings);
    period_ = from_seconds(1 / sensible_fps(capture_.get(cv::CAP_PROP_FPS), from_));
  }

  bool next(Frame& frame) override {
    cv::Mat got;
    // Before the first grab there is no stamp.
    for (int tries = 0; tries < 3; ++tries) {
      if (!capture_.read(got)) throw CameraError("the camera " + from_ + " gives no more frames");
      frame.at = std::llround(capture_.get(cv::CAP_PROP_POS_MSEC) * 1e6);
      if (frame.at > 0 && is_jpeg(got)) {
        frame.jpeg = bytes_of(got);
        return true;
      }
    }
    throw CameraError("the camera " + from_ + " gives no MJPG frames with a time");
  }
  Nanos period() const override { return period_; }
  std::string about() const override { return about_; }
  bool repeats_show() const override { return true; }

 private:
  void read_back(const SourceSettings& settings) {
    const auto get = [&](int property) { return capture_.get(property); };
    const double automatic = get(cv::CAP_PROP_AUTO_EXPOSURE), balance = get(cv::CAP_PROP_AUTO_WB),
                 focus = get(cv::CAP_PROP_AUTOFOCUS), exposure = get(cv::CAP_PROP_EXPOSURE),
                 gain = get(cv::CAP_PROP_GAIN);
    about_ = fmt::format(
        "{}, {:.0f}x{:.0f}, {:.2f} frames a second; read back: exposure {:.1f} ms, automatic exposure {}, "
        "gain {}, "
        "automatic white balance {}, white balance {}, automatic focus {}",
        from_, get(cv::CAP_PROP_FRAME_WIDTH), get(cv::CAP_PROP_FRAME_HEIGHT), get(cv::CAP_PROP_FPS),
        exposure / 10, automatic, gain, balance, get(cv::CAP_PROP_WB_TEMPERATURE), focus);
    // V4L2: 0 automatic, 1 manual, 2 shutter priority, 3 aperture priority; -1: not told.
    const auto refuse = [&](const std::string& what) {
      throw CameraError(fmt::format("the camera {} keeps its {}; switch it off by hand (v4l2-ctl); {}", from_,
                                    what, about_));
    };
    if (automatic == 0 || automatic == 3) refuse("automatic exposure");
    if (balance > 0) refuse("automatic white balance");
    if (focus > 0) refuse("automatic focus");
    if (settings.exposure_ms > 0 &&
        std::abs(exposure / 10 - settings.exposure_ms) > 0.15 * settings.exposure_ms)
      refuse(
          fmt::format("exposure at {:.1f} ms where {:.1f} was asked", exposure / 10, settings.exposure_ms));
    if (settings.gain >= 0 && std::abs(gain - settings.gain) > 0.5) refuse(fmt::format("gain at {}", gain));
  }

  std::string from_;
  cv::VideoCapture capture_;
  std::string about_;
  Nanos period_ = 0;
};

}  // namespace

std::unique_ptr<FrameSource> open_frames(const SourceSettings& settings) {
  std::error_code error;
  const fs::file_status status = fs::status(settings.from, error);
  if (!fs::exists(status)) throw CameraError("there is no " + settings.from);
  if (fs::is_directory(status)) return std::make_unique<Folder>(settings);
  if (fs::is_character_file(status)) return std::make_unique<Device>(settings);
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
