// One V4L2 camera, as <linux/videodev2.h> has it: a kernel that is written down
// beforehand.
#pragma once

#include <linux/videodev2.h>

#include <cerrno>
#include <cstring>
#include <ctime>
#include <deque>
#include <map>
#include <string>
#include <vector>

#include "bench/rigs/camera/video_kernel.h"

namespace tachproof::test {

class FakeVideo : public VideoKernel {
 public:
  struct Control {
    int value = 0;
    bool stuck = false;  // says that it was set, and was not
  };

  std::vector<std::string> devices() override { return {"/dev/video0"}; }
  std::string card(const std::string&) override { return "Tarn camera"; }
  std::string stable_name(const std::string&) override { return "/dev/v4l/by-id/usb-tarn-video-index0"; }
  int open(const std::string&) override {
    if (open_error == 0) return ++open_files, 3;
    errno = open_error;
    return -1;
  }
  void close(int) override { --open_files; }
  void* map(int, std::size_t length, off_t) override {
    memory.emplace_back(length);
    return memory.back().data();
  }
  void unmap(void*, std::size_t) override {}
  int wait(int, int) override { return frames.empty() && read_error == 0 ? 0 : 1; }
  int ioctl(int, unsigned long request, void* argument) override {
    const auto fail = [](int error) { return errno = error, -1; };
    switch (request) {
      case VIDIOC_QUERYCAP: {
        auto& about = *static_cast<v4l2_capability*>(argument);
        std::strcpy(reinterpret_cast<char*>(about.card), "Tarn camera");
        std::strcpy(reinterpret_cast<char*>(about.bus_info), "usb-0000:00:14.0-2");
        about.capabilities = can | V4L2_CAP_DEVICE_CAPS | V4L2_CAP_VIDEO_CAPTURE;  // of all nodes
        about.device_caps = can;
        return 0;
      }
      case VIDIOC_ENUM_FMT: {
        auto& entry = *static_cast<v4l2_fmtdesc*>(argument);
        if (entry.index >= formats.size()) return fail(EINVAL);
        entry.pixelformat = formats[entry.index];
        return 0;
      }
      case VIDIOC_ENUM_FRAMESIZES: {
        auto& size = *static_cast<v4l2_frmsizeenum*>(argument);
        if (size.index > 0) return fail(EINVAL);
        size.type = V4L2_FRMSIZE_TYPE_DISCRETE;
        size.discrete = {64, 48};
        return 0;
      }
      case VIDIOC_ENUM_FRAMEINTERVALS: {
        auto& interval = *static_cast<v4l2_frmivalenum*>(argument);
        if (interval.index > 1) return fail(EINVAL);
        interval.type = V4L2_FRMIVAL_TYPE_DISCRETE;
        interval.discrete = {1, interval.index == 0 ? 15U : 30U};
        return 0;
      }
      case VIDIOC_QUERYCTRL:
        return controls.count(static_cast<v4l2_queryctrl*>(argument)->id) > 0 ? 0 : fail(EINVAL);
      case VIDIOC_G_CTRL: {
        auto& control = *static_cast<v4l2_control*>(argument);
        control.value = controls.at(control.id).value;
        return 0;
      }
      case VIDIOC_S_CTRL: {
        const auto& control = *static_cast<v4l2_control*>(argument);
        Control& mine = controls.at(control.id);
        if (!mine.stuck) mine.value = control.value;
        return 0;
      }
      case VIDIOC_G_FMT:
      case VIDIOC_S_FMT: {
        auto& pix = static_cast<v4l2_format*>(argument)->fmt.pix;
        if (request == VIDIOC_S_FMT) format = pix.pixelformat;
        pix.width = 64;
        pix.height = 48;
        pix.pixelformat = format;
        pix.field = V4L2_FIELD_NONE;
        pix.bytesperline = 128;
        pix.sizeimage = 128 * 48;
        return 0;
      }
      case VIDIOC_S_PARM: return 0;
      case VIDIOC_G_PARM:
        static_cast<v4l2_streamparm*>(argument)->parm.capture.timeperframe = {1, 30};
        return 0;
      case VIDIOC_REQBUFS: static_cast<v4l2_requestbuffers*>(argument)->count = 1; return 0;
      case VIDIOC_QUERYBUF: static_cast<v4l2_buffer*>(argument)->length = 128 * 48; return 0;
      case VIDIOC_DQBUF: {
        if (frames.empty()) return fail(read_error);
        *static_cast<v4l2_buffer*>(argument) = frames.front();
        frames.pop_front();
        return 0;
      }
      default: return 0;  // QBUF, STREAMON, STREAMOFF
    }
  }

  // A frame of now, whole.
  v4l2_buffer& frame() {
    timespec t{};
    clock_gettime(CLOCK_MONOTONIC, &t);
    v4l2_buffer buffer{};
    buffer.timestamp = {t.tv_sec, t.tv_nsec / 1000};
    buffer.flags = V4L2_BUF_FLAG_TIMESTAMP_MONOTONIC;
    buffer.bytesused = 128 * 48;
    return frames.emplace_back(buffer);
  }

  std::uint32_t can = V4L2_CAP_VIDEO_CAPTURE | V4L2_CAP_STREAMING;
  std::vector<std::uint32_t> formats{V4L2_PIX_FMT_YUYV};
  std::uint32_t format = 0;
  std::map<std::uint32_t, Control> controls;
  int open_error = 0, read_error = 0;
  int open_files = 0;
  std::deque<v4l2_buffer> frames;
  std::deque<std::vector<std::uint8_t>> memory;
};

}  // namespace tachproof::test
