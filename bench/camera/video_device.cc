#include "bench/camera/video_device.h"

#include <fmt/format.h>
#include <linux/videodev2.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <ctime>
#include <opencv2/imgproc.hpp>
#include <utility>

#include "bench/camera/device_controls.h"
#include "bench/rigs/camera/cameras.h"
#include "bench/rigs/ports.h"

namespace tachproof {
namespace {

// Half a second at 30 frames a second, for a computer that is busy for a moment.
constexpr std::uint32_t buffers_wanted = 16;
constexpr int patience_ms = 2000;
constexpr Nanos oldest_first = 10 * ns_per_s;  // of the first frame, by the clock that is meant
// In a row; some cameras begin with a few damaged ones.
constexpr int most_useless = 60;

bool is_compressed(std::uint32_t format) {
  return format == V4L2_PIX_FMT_MJPEG || format == V4L2_PIX_FMT_JPEG;
}

// The picture that the driver's bytes are; the bytes are not copied.
cv::Mat decode(std::uint8_t* bytes, const v4l2_pix_format& format) {
  const int width = static_cast<int>(format.width), height = static_cast<int>(format.height);
  const std::size_t stride = format.bytesperline;
  cv::Mat bgr;
  switch (format.pixelformat) {
    case V4L2_PIX_FMT_YUYV:
      cv::cvtColor(cv::Mat(height, width, CV_8UC2, bytes, stride), bgr, cv::COLOR_YUV2BGR_YUY2);
      break;
    case V4L2_PIX_FMT_UYVY:
      cv::cvtColor(cv::Mat(height, width, CV_8UC2, bytes, stride), bgr, cv::COLOR_YUV2BGR_UYVY);
      break;
    case V4L2_PIX_FMT_NV12:
      cv::cvtColor(cv::Mat(height * 3 / 2, width, CV_8UC1, bytes, stride), bgr, cv::COLOR_YUV2BGR_NV12);
      break;
    case V4L2_PIX_FMT_BGR24: bgr = cv::Mat(height, width, CV_8UC3, bytes, stride).clone(); break;
    default: cv::cvtColor(cv::Mat(height, width, CV_8UC3, bytes, stride), bgr, cv::COLOR_RGB2BGR);
  }
  return bgr;
}

class VideoDevice : public FrameSource {
 public:
  VideoDevice(const SourceSettings& settings, std::shared_ptr<VideoKernel> kernel)
      : from_(settings.from), kernel_(std::move(kernel)), file_(*kernel_, from_) {
    const std::string card = look_at_it();
    const std::string controls = settle_controls(*kernel_, file_.fd, settings);
    settle_format(settings);
    settle_rate(settings);
    take_buffers();
    about_ = fmt::format("{}{}, {}, {}x{}, {:.2f} frames a second, stamped by CLOCK_MONOTONIC; read back: {}",
                         from_, card.empty() ? "" : " (" + card + ")", four_letters(format_.pixelformat),
                         format_.width, format_.height, 1 / to_seconds(period_), controls);
  }
  ~VideoDevice() override {
    int type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    if (streams_) (void)kernel_->ioctl(file_.fd, VIDIOC_STREAMOFF, &type);
  }

  bool next(Frame& frame) override {
    if (!streams_) start();
    for (int tries = 0; tries < most_useless; ++tries) {
      const v4l2_buffer buffer = dequeue();
      const bool good = take(buffer, frame);
      v4l2_buffer again{};
      again.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
      again.memory = V4L2_MEMORY_MMAP;
      again.index = buffer.index;
      must(VIDIOC_QBUF, &again, "giving a buffer back to");
      if (good) return true;
    }
    fail(fmt::format("gave {} damaged frames in a row: check its cable, or use another port", most_useless));
  }
  Nanos period() const override { return period_; }
  std::string about() const override { return about_; }
  bool repeats_show() const override { return true; }

 private:
  struct File {
    File(VideoKernel& of, const std::string& device) : kernel(of), fd(of.open(device)), error(errno) {}
    ~File() {
      if (fd >= 0) kernel.close(fd);
    }
    File(const File&) = delete;
    VideoKernel& kernel;
    const int fd, error;
  };
  struct Unmap {
    VideoKernel* kernel;
    std::size_t length;
    void operator()(std::uint8_t* at) const { kernel->unmap(at, length); }
  };
  using Mapped = std::unique_ptr<std::uint8_t, Unmap>;

  [[noreturn]] void fail(const std::string& what) const {
    throw CameraError("the camera " + from_ + " " + what);
  }
  [[noreturn]] void fail_by(int error, const std::string& doing) const {
    if (error == ENODEV || error == ENXIO) fail("is gone: was it unplugged?");
    if (error == EBUSY) fail("is in use: another program films with it");
    if (error == ENOSPC) fail("has no room on its bus beside other devices: give it a port of its own");
    throw CameraError(doing + " the camera " + from_ + ": " + std::strerror(error));
  }
  void must(unsigned long request, void* argument, const std::string& doing) const {
    if (kernel_->ioctl(file_.fd, request, argument) != 0) fail_by(errno, doing);
  }

  std::string look_at_it() const {
    if (file_.fd < 0)
      throw CameraError("opening the camera " + from_ + ": " +
                        (file_.error == EACCES || file_.error == EPERM ? no_permission(from_)
                                                                       : std::strerror(file_.error)));
    v4l2_capability about{};
    if (kernel_->ioctl(file_.fd, VIDIOC_QUERYCAP, &about) != 0)
      fail("is no video device; `tachproof ports` lists the cameras");
    const std::uint32_t can =
        (about.capabilities & V4L2_CAP_DEVICE_CAPS) != 0 ? about.device_caps : about.capabilities;
    if ((can & V4L2_CAP_VIDEO_CAPTURE) == 0 || (can & V4L2_CAP_STREAMING) == 0)
      fail("captures no video; `tachproof ports` lists the cameras");
    const char* card = reinterpret_cast<const char*>(about.card);
    return std::string(card, strnlen(card, sizeof about.card));
  }

  void settle_format(const SourceSettings& settings) {
    const std::vector<std::uint32_t> offered = formats_offered(*kernel_, file_.fd);
    const auto best = std::find_first_of(readable_formats().begin(), readable_formats().end(),
                                         offered.begin(), offered.end());
    if (best == readable_formats().end())
      fail("has no format that can be read; `tachproof ports` names them");
    v4l2_format format{};
    format.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    must(VIDIOC_G_FMT, &format, "asking the format of");
    format.fmt.pix.pixelformat = *best;
    format.fmt.pix.field = V4L2_FIELD_NONE;
    format.fmt.pix.bytesperline = 0;
    if (settings.width > 0) {
      format.fmt.pix.width = static_cast<std::uint32_t>(settings.width);
      format.fmt.pix.height = static_cast<std::uint32_t>(settings.height);
    }
    must(VIDIOC_S_FMT, &format, "setting the format of");
    format_ = format.fmt.pix;
    if (format_.pixelformat != *best)
      fail(fmt::format("offers the format {} and gives {}: use another camera", four_letters(*best),
                       four_letters(format_.pixelformat)));
    if (settings.width > 0 && (static_cast<int>(format_.width) != settings.width ||
                               static_cast<int>(format_.height) != settings.height))
      fail(fmt::format("gives {}x{} pixels, and the lamps were taught at {}x{}: teach again", format_.width,
                       format_.height, settings.width, settings.height));
    if (format_.field != V4L2_FIELD_NONE && format_.field != V4L2_FIELD_ANY)
      fail("gives interlaced pictures, whose halves are of two instants: use another camera");
  }

  void settle_rate(const SourceSettings& settings) {
    v4l2_streamparm rate{};
    rate.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    if (settings.fps > 0) {
      rate.parm.capture.timeperframe = {1000, static_cast<std::uint32_t>(std::lround(settings.fps * 1000))};
      (void)kernel_->ioctl(file_.fd, VIDIOC_S_PARM, &rate);  // read back below
    }
    const bool told = kernel_->ioctl(file_.fd, VIDIOC_G_PARM, &rate) == 0;
    const v4l2_fract& each = rate.parm.capture.timeperframe;
    if (!told || each.numerator == 0 || each.denominator == 0)
      fail("does not say how many frames a second it gives, so they cannot be timed: use another camera");
    period_ = from_seconds(static_cast<double>(each.numerator) / each.denominator);
  }

  void take_buffers() {
    v4l2_requestbuffers request{};
    request.count = buffers_wanted;
    request.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    request.memory = V4L2_MEMORY_MMAP;
    must(VIDIOC_REQBUFS, &request, "asking buffers of");
    for (std::uint32_t i = 0; i < request.count; ++i) {
      v4l2_buffer buffer = buffer_of(i);
      must(VIDIOC_QUERYBUF, &buffer, "asking buffers of");
      void* at = kernel_->map(file_.fd, buffer.length, static_cast<off_t>(buffer.m.offset));
      if (at == nullptr) fail_by(errno, "mapping a buffer of");
      buffers_.emplace_back(static_cast<std::uint8_t*>(at), Unmap{kernel_.get(), buffer.length});
    }
  }

  static v4l2_buffer buffer_of(std::uint32_t index) {
    v4l2_buffer buffer{};
    buffer.index = index;
    buffer.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    buffer.memory = V4L2_MEMORY_MMAP;
    return buffer;
  }

  // Only when frames are wanted, so that the first is of now.
  void start() {
    for (std::uint32_t i = 0; i < buffers_.size(); ++i) {
      v4l2_buffer buffer = buffer_of(i);
      must(VIDIOC_QBUF, &buffer, "giving a buffer to");
    }
    int type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    must(VIDIOC_STREAMON, &type, "starting");
    streams_ = true;
  }

  v4l2_buffer dequeue() {
    const int ready = kernel_->wait(file_.fd, patience_ms);
    if (ready < 0) fail_by(errno, "waiting for");
    if (ready == 0) fail(fmt::format("has given no frame for {} s: was it unplugged?", patience_ms / 1000));
    v4l2_buffer buffer = buffer_of(0);
    must(VIDIOC_DQBUF, &buffer, "reading a frame of");
    if (buffer.index >= buffers_.size())
      fail("returned a buffer that it was not given, a fault of its driver: unplug it and try again");
    return buffer;
  }

  // False: nothing that can be used.
  bool take(const v4l2_buffer& buffer, Frame& frame) {
    frame.at = buffer.timestamp.tv_sec * ns_per_s + buffer.timestamp.tv_usec * ns_per_us;
    const Mapped& mapped = buffers_[buffer.index];
    std::uint8_t* bytes = mapped.get();
    const std::size_t used = std::min<std::size_t>(buffer.bytesused, mapped.get_deleter().length);
    if ((buffer.flags & V4L2_BUF_FLAG_ERROR) != 0 || frame.at <= 0) return false;
    if (!std::exchange(clock_checked_, true)) check_clock(buffer, frame.at);
    if (is_compressed(format_.pixelformat)) {
      frame.picture.release();
      frame.jpeg.assign(bytes, bytes + used);
      return used > 2 && bytes[0] == 0xff && bytes[1] == 0xd8;
    }
    frame.jpeg.clear();
    if (used < format_.sizeimage) return false;
    frame.picture = decode(bytes, format_);
    return true;
  }

  // A driver may say one clock and use another (uvcvideo's `clock` can be set).
  void check_clock(const v4l2_buffer& buffer, Nanos at) const {
    const bool said = (buffer.flags & V4L2_BUF_FLAG_TIMESTAMP_MASK) == V4L2_BUF_FLAG_TIMESTAMP_MONOTONIC;
    timespec t{};
    clock_gettime(CLOCK_MONOTONIC, &t);
    const Nanos ago = t.tv_sec * ns_per_s + t.tv_nsec - at;
    if (!said || std::abs(ago) > oldest_first)
      fail(
          "does not stamp its frames by CLOCK_MONOTONIC, so they have no place in the run: set its driver to "
          "that "
          "clock (uvcvideo: clock=CLOCK_MONOTONIC)");
  }

  std::string from_;
  std::shared_ptr<VideoKernel> kernel_;
  File file_;
  v4l2_pix_format format_{};
  Nanos period_ = 0;
  std::string about_;
  std::vector<Mapped> buffers_;
  bool streams_ = false, clock_checked_ = false;
};

}  // namespace

std::unique_ptr<FrameSource> open_device(const SourceSettings& settings,
                                         std::shared_ptr<VideoKernel> kernel) {
  return std::make_unique<VideoDevice>(settings, std::move(kernel));
}

}  // namespace tachproof
