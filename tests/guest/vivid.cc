#include "tests/guest/vivid.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <linux/videodev2.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <stdexcept>

#include "bench/rigs/camera/video_kernel.h"

namespace tachproof::test {
namespace {

void must(int fd, unsigned long request, void* argument, const char* what) {
  if (ioctl(fd, request, argument) != 0)
    throw std::runtime_error(fmt::format("vivid: {}: {}", what, std::strerror(errno)));
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

void Vivid::choose_webcam() {
  int index = 0;
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

}  // namespace tachproof::test
