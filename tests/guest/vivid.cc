#include "tests/guest/vivid.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <linux/videodev2.h>
#include <sys/ioctl.h>
#include <sys/mman.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <stdexcept>

#include "bench/rigs/video_kernel.h"

namespace tachproof::test {
namespace {

constexpr std::uint32_t screen_fps = 30;

void must(int fd, unsigned long request, void* argument, const char* what) {
  if (ioctl(fd, request, argument) != 0)
    throw std::runtime_error(fmt::format("vivid: {}: {}", what, std::strerror(errno)));
}

// 720 lines at 30 a second, of those that the driver knows.
void hdmi_timings(int fd) {
  for (std::uint32_t i = 0;; ++i) {
    v4l2_enum_dv_timings entry{};
    entry.index = i;
    must(fd, VIDIOC_ENUM_DV_TIMINGS, &entry, "no timings of 1280x720 at 30/s");
    const v4l2_bt_timings& bt = entry.timings.bt;
    const std::uint64_t dots =
        static_cast<std::uint64_t>(bt.width + bt.hfrontporch + bt.hsync + bt.hbackporch) *
        (bt.height + bt.vfrontporch + bt.vsync + bt.vbackporch);
    if (bt.width != 1280 || bt.height != 720 || bt.interlaced != 0 || bt.pixelclock != screen_fps * dots)
      continue;
    must(fd, VIDIOC_S_DV_TIMINGS, &entry.timings, "setting timings");
    return;
  }
}

std::uint8_t byte_of(double value) { return static_cast<std::uint8_t>(std::clamp(value + 0.5, 0.0, 255.0)); }

// ITU-R BT.601, 16 to 235: what OpenCV takes YUYV for.
void to_yuyv(const cv::Mat& bgr, std::uint8_t* out, std::size_t stride) {
  for (int y = 0; y < bgr.rows; ++y) {
    const std::uint8_t* in = bgr.ptr(y);
    std::uint8_t* row = out + stride * static_cast<std::size_t>(y);
    for (int x = 0; x + 1 < bgr.cols; x += 2, in += 6, row += 4) {
      const int b = in[0] + in[3], g = in[1] + in[4], r = in[2] + in[5];
      const auto luma = [](const std::uint8_t* p) {
        return byte_of(16 + 0.257 * p[2] + 0.504 * p[1] + 0.098 * p[0]);
      };
      row[0] = luma(in);
      row[1] = byte_of(128 + (0.439 * b - 0.291 * g - 0.148 * r) / 2);
      row[2] = luma(in + 3);
      row[3] = byte_of(128 + (0.439 * r - 0.368 * g - 0.071 * b) / 2);
    }
  }
}

}  // namespace

Vivid::Vivid(int number) {
  const std::string bus = fmt::format("platform:vivid-{:03}", number);
  for (const std::string& device : linux_video()->devices()) {
    const int fd = open(device.c_str(), O_RDWR | O_CLOEXEC);
    v4l2_capability about{};
    if (fd >= 0 && ioctl(fd, VIDIOC_QUERYCAP, &about) == 0 &&
        bus == reinterpret_cast<const char*>(about.bus_info)) {
      if ((about.device_caps & V4L2_CAP_VIDEO_CAPTURE) != 0) camera_ = device;
      if ((about.device_caps & V4L2_CAP_VIDEO_OUTPUT) != 0) screen_ = device;
    }
    if (fd >= 0) close(fd);
  }
  if (camera_.empty() || screen_.empty()) throw std::runtime_error("there is no " + bus);
  fd_ = open(camera_.c_str(), O_RDWR | O_CLOEXEC);
}

Vivid::~Vivid() { close(fd_); }

void Vivid::input(Input input) {
  int index = input == Input::webcam ? 0 : 3;  // the driver's default order
  must(fd_, VIDIOC_S_INPUT, &index, "choosing an input");
}

std::uint32_t Vivid::control_id(const std::string& name) const {
  v4l2_queryctrl query{};
  query.id = V4L2_CTRL_FLAG_NEXT_CTRL;
  while (ioctl(fd_, VIDIOC_QUERYCTRL, &query) == 0) {
    if (name == reinterpret_cast<const char*>(query.name)) return query.id;
    query.id |= V4L2_CTRL_FLAG_NEXT_CTRL;
  }
  throw std::runtime_error("vivid has no control '" + name + "'");
}

void Vivid::set(const std::string& control, int value) {
  v4l2_control setting{control_id(control), value};
  must(fd_, VIDIOC_S_CTRL, &setting, control.c_str());
}

int Vivid::get(const std::string& control) const {
  v4l2_control setting{control_id(control), 0};
  must(fd_, VIDIOC_G_CTRL, &setting, control.c_str());
  return setting.value;
}

void Vivid::lock_settings(bool lock) {
  int priority = lock ? V4L2_PRIORITY_RECORD : V4L2_PRIORITY_DEFAULT;
  must(fd_, VIDIOC_S_PRIORITY, &priority, "priority");
}

VividScreen::VividScreen(Vivid& vivid, int width, int height) : width_(width), height_(height) {
  vivid.input(Vivid::Input::hdmi);
  const int camera = open(vivid.camera().c_str(), O_RDWR | O_CLOEXEC);
  hdmi_timings(camera);
  close(camera);
  vivid.set("Loop Video", 1);
  vivid.set("OSD Text Mode", 2);

  fd_ = open(vivid.screen().c_str(), O_RDWR | O_CLOEXEC);
  int hdmi = 1;
  must(fd_, VIDIOC_S_OUTPUT, &hdmi, "choosing the output");
  hdmi_timings(fd_);
  v4l2_format format{};
  format.type = V4L2_BUF_TYPE_VIDEO_OUTPUT;
  must(fd_, VIDIOC_G_FMT, &format, "asking the screen's format");
  format.fmt.pix.pixelformat = V4L2_PIX_FMT_YUYV;
  format.fmt.pix.width = static_cast<std::uint32_t>(width);
  format.fmt.pix.height = static_cast<std::uint32_t>(height);
  format.fmt.pix.bytesperline = 0;
  must(fd_, VIDIOC_S_FMT, &format, "setting the screen's format");
  stride_ = format.fmt.pix.bytesperline;
  used_ = format.fmt.pix.sizeimage;
  if (static_cast<int>(format.fmt.pix.width) != width || static_cast<int>(format.fmt.pix.height) != height)
    throw std::runtime_error("vivid: the screen does not take this size");
  v4l2_requestbuffers request{};
  request.count = 2;  // few, so that what is shown is of now
  request.type = V4L2_BUF_TYPE_VIDEO_OUTPUT;
  request.memory = V4L2_MEMORY_MMAP;
  must(fd_, VIDIOC_REQBUFS, &request, "asking buffers");
  for (std::uint32_t i = 0; i < request.count; ++i) {
    v4l2_buffer buffer{};
    buffer.index = i;
    buffer.type = request.type;
    buffer.memory = request.memory;
    must(fd_, VIDIOC_QUERYBUF, &buffer, "asking buffers");
    void* at = mmap(nullptr, buffer.length, PROT_READ | PROT_WRITE, MAP_SHARED, fd_, buffer.m.offset);
    if (at == MAP_FAILED) throw std::runtime_error("vivid: mapping a buffer");
    buffers_.push_back({static_cast<std::uint8_t*>(at), buffer.length});
  }
}

VividScreen::~VividScreen() {
  int type = V4L2_BUF_TYPE_VIDEO_OUTPUT;
  ioctl(fd_, VIDIOC_STREAMOFF, &type);
  for (const Buffer& buffer : buffers_) munmap(buffer.at, buffer.length);
  close(fd_);
}

bool VividScreen::show(const cv::Mat& bgr) {
  CV_Assert(bgr.cols == width_ && bgr.rows == height_ && bgr.type() == CV_8UC3);
  v4l2_buffer buffer{};
  buffer.type = V4L2_BUF_TYPE_VIDEO_OUTPUT;
  buffer.memory = V4L2_MEMORY_MMAP;
  buffer.index = static_cast<std::uint32_t>(shown_);
  if (shown_ >= buffers_.size() && ioctl(fd_, VIDIOC_DQBUF, &buffer) != 0) return false;
  to_yuyv(bgr, buffers_[buffer.index].at, stride_);
  buffer.bytesused = static_cast<std::uint32_t>(used_);
  buffer.field = V4L2_FIELD_NONE;
  if (ioctl(fd_, VIDIOC_QBUF, &buffer) != 0) return false;
  int type = V4L2_BUF_TYPE_VIDEO_OUTPUT;
  if (++shown_ == buffers_.size() && ioctl(fd_, VIDIOC_STREAMON, &type) != 0) return false;
  return true;
}

}  // namespace tachproof::test
