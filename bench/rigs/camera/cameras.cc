#include "bench/rigs/camera/cameras.h"

#include <linux/videodev2.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <optional>

#include "bench/rigs/ports.h"

namespace tachproof {
namespace {

constexpr std::uint32_t most_entries = 256;  // of any list that a driver gives

template <std::size_t N>
std::string text_of(const __u8 (&field)[N]) {
  const char* text = reinterpret_cast<const char*>(field);
  return std::string(text, strnlen(text, N));
}

double fps_at(VideoKernel& kernel, int fd, std::uint32_t format, std::uint32_t width, std::uint32_t height) {
  double most = 0;
  for (std::uint32_t i = 0; i < most_entries; ++i) {
    v4l2_frmivalenum interval{};
    interval.index = i;
    interval.pixel_format = format;
    interval.width = width;
    interval.height = height;
    if (kernel.ioctl(fd, VIDIOC_ENUM_FRAMEINTERVALS, &interval) != 0) break;
    const bool listed = interval.type == V4L2_FRMIVAL_TYPE_DISCRETE;
    const v4l2_fract& shortest = listed ? interval.discrete : interval.stepwise.min;
    if (shortest.numerator > 0)
      most = std::max(most, static_cast<double>(shortest.denominator) / shortest.numerator);
    if (!listed) break;
  }
  return most;
}

std::vector<CameraMode> modes_of(VideoKernel& kernel, int fd, std::uint32_t format) {
  std::vector<CameraMode> modes;
  for (std::uint32_t i = 0; i < most_entries; ++i) {
    v4l2_frmsizeenum size{};
    size.index = i;
    size.pixel_format = format;
    if (kernel.ioctl(fd, VIDIOC_ENUM_FRAMESIZES, &size) != 0) break;
    const bool listed = size.type == V4L2_FRMSIZE_TYPE_DISCRETE;
    const std::uint32_t width = listed ? size.discrete.width : size.stepwise.max_width,
                        height = listed ? size.discrete.height : size.stepwise.max_height;
    modes.push_back({static_cast<int>(width), static_cast<int>(height),
                     fps_at(kernel, fd, format, width, height), !listed});
    if (!listed) break;
  }
  return modes;
}

// Nothing: a device that is no camera, as the second node of many is.
std::optional<CameraFound> look_at(VideoKernel& kernel, const std::string& device) {
  CameraFound found;
  found.device = device;
  found.name = kernel.stable_name(device);
  found.card = kernel.card(device);
  const int fd = kernel.open(device);
  if (fd < 0) {
    const int error = errno;
    found.closed_because = error == EACCES || error == EPERM ? no_permission(device) : std::strerror(error);
    return found;
  }
  v4l2_capability about{};
  const bool told = kernel.ioctl(fd, VIDIOC_QUERYCAP, &about) == 0;
  const std::uint32_t can =
      (about.capabilities & V4L2_CAP_DEVICE_CAPS) != 0 ? about.device_caps : about.capabilities;
  if (!told || (can & (V4L2_CAP_VIDEO_CAPTURE | V4L2_CAP_VIDEO_CAPTURE_MPLANE)) == 0) {
    kernel.close(fd);
    return std::nullopt;
  }
  found.card = text_of(about.card);
  found.bus = text_of(about.bus_info);
  if ((can & V4L2_CAP_VIDEO_CAPTURE) == 0) {
    found.closed_because = "its pictures come in several planes, which cannot be read";
  } else if ((can & V4L2_CAP_STREAMING) == 0) {
    found.closed_because = "it cannot stream pictures";
  } else {
    const std::vector<std::uint32_t> offered = formats_offered(kernel, fd);
    for (const std::uint32_t format : readable_formats())
      if (std::find(offered.begin(), offered.end(), format) != offered.end())
        found.formats.push_back({four_letters(format), modes_of(kernel, fd, format)});
    if (found.formats.empty()) {
      std::string names;
      for (const std::uint32_t format : readable_formats())
        names += (names.empty() ? "" : ", ") + four_letters(format);
      found.closed_because = "it offers none of the formats that can be read: " + names;
    }
  }
  kernel.close(fd);
  return found;
}

}  // namespace

const std::vector<std::uint32_t>& readable_formats() {
  static const std::vector<std::uint32_t> formats{V4L2_PIX_FMT_MJPEG, V4L2_PIX_FMT_JPEG, V4L2_PIX_FMT_YUYV,
                                                  V4L2_PIX_FMT_UYVY,  V4L2_PIX_FMT_NV12, V4L2_PIX_FMT_BGR24,
                                                  V4L2_PIX_FMT_RGB24};
  return formats;
}

std::string four_letters(std::uint32_t format) {
  std::string name;
  for (int i = 0; i < 4; ++i) name += static_cast<char>((format >> (8 * i)) & 0x7f);
  while (name.ends_with(' ')) name.pop_back();
  return name;
}

std::vector<std::uint32_t> formats_offered(VideoKernel& kernel, int fd) {
  std::vector<std::uint32_t> formats;
  for (std::uint32_t i = 0; i < most_entries; ++i) {
    v4l2_fmtdesc format{};
    format.index = i;
    format.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    if (kernel.ioctl(fd, VIDIOC_ENUM_FMT, &format) != 0) break;
    // What the library only converts to is no format of the camera's.
    if ((format.flags & V4L2_FMT_FLAG_EMULATED) == 0) formats.push_back(format.pixelformat);
  }
  return formats;
}

std::vector<CameraFound> cameras_present(VideoKernel& kernel) {
  std::vector<CameraFound> cameras;
  for (const std::string& device : kernel.devices())
    if (std::optional<CameraFound> found = look_at(kernel, device)) cameras.push_back(std::move(*found));
  return cameras;
}

}  // namespace tachproof
