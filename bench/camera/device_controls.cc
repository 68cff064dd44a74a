#include "bench/camera/device_controls.h"

#include <fmt/format.h>
#include <linux/videodev2.h>

#include <cmath>
#include <optional>
#include <vector>

namespace tachproof {
namespace {

constexpr double exposure_unit_ms = 0.1;  // V4L2_CID_EXPOSURE_ABSOLUTE
constexpr double exposure_within = 0.15;  // of what was asked

class Controls {
 public:
  Controls(VideoKernel& kernel, int fd) : kernel_(kernel), fd_(fd) {}

  bool has(std::uint32_t id) const {
    v4l2_queryctrl query{};
    query.id = id;
    return kernel_.ioctl(fd_, VIDIOC_QUERYCTRL, &query) == 0 && (query.flags & V4L2_CTRL_FLAG_DISABLED) == 0;
  }
  std::optional<std::int32_t> get(std::uint32_t id) const {
    v4l2_control control{};
    control.id = id;
    if (!has(id) || kernel_.ioctl(fd_, VIDIOC_G_CTRL, &control) != 0) return std::nullopt;
    return control.value;
  }
  // Whether it took it is seen when it is read back.
  void set(std::uint32_t id, std::int32_t value) const {
    v4l2_control control{};
    control.id = id;
    control.value = value;
    if (has(id)) (void)kernel_.ioctl(fd_, VIDIOC_S_CTRL, &control);
  }

 private:
  VideoKernel& kernel_;
  int fd_;
};

// Each is off at 0.
struct Automatic {
  std::uint32_t id;
  const char* name;
};
constexpr Automatic automatics[] = {{V4L2_CID_AUTOGAIN, "automatic gain"},
                                    {V4L2_CID_AUTO_WHITE_BALANCE, "automatic white balance"},
                                    {V4L2_CID_FOCUS_AUTO, "automatic focus"}};

}  // namespace

std::string settle_controls(VideoKernel& kernel, int fd, const SourceSettings& asked) {
  const Controls controls(kernel, fd);
  controls.set(V4L2_CID_EXPOSURE_AUTO, V4L2_EXPOSURE_MANUAL);
  // Some drivers take "manual" only after "automatic".
  if (controls.get(V4L2_CID_EXPOSURE_AUTO).value_or(V4L2_EXPOSURE_MANUAL) != V4L2_EXPOSURE_MANUAL) {
    controls.set(V4L2_CID_EXPOSURE_AUTO, V4L2_EXPOSURE_APERTURE_PRIORITY);
    controls.set(V4L2_CID_EXPOSURE_AUTO, V4L2_EXPOSURE_MANUAL);
  }
  for (const Automatic& automatic : automatics) controls.set(automatic.id, 0);
  // In the dark some would rather give fewer frames.
  controls.set(V4L2_CID_EXPOSURE_AUTO_PRIORITY, 0);
  if (asked.exposure_ms > 0)
    controls.set(V4L2_CID_EXPOSURE_ABSOLUTE,
                 static_cast<std::int32_t>(std::lround(asked.exposure_ms / exposure_unit_ms)));
  if (asked.gain >= 0) controls.set(V4L2_CID_GAIN, static_cast<std::int32_t>(std::lround(asked.gain)));

  std::string told, refused;
  const auto tell = [&](const std::string& what) { told += (told.empty() ? "" : ", ") + what; };
  const auto refuse = [&](const std::string& what) {
    if (refused.empty()) refused = what;
  };
  const auto exposure = controls.get(V4L2_CID_EXPOSURE_ABSOLUTE);
  const double exposure_ms = exposure ? *exposure * exposure_unit_ms : 0;
  tell(exposure ? fmt::format("exposure {:.1f} ms", exposure_ms) : "no exposure setting");
  const auto automatic = controls.get(V4L2_CID_EXPOSURE_AUTO);
  const bool manual = automatic == V4L2_EXPOSURE_MANUAL || automatic == V4L2_EXPOSURE_SHUTTER_PRIORITY;
  tell(!automatic ? "no automatic exposure" : manual ? "automatic exposure off" : "automatic exposure ON");
  if (automatic && !manual) refuse("keeps its automatic exposure");
  for (const Automatic& other : automatics) {
    const auto value = controls.get(other.id);
    tell(!value ? fmt::format("no {}", other.name)
                : fmt::format("{} {}", other.name, *value == 0 ? "off" : "ON"));
    if (value.value_or(0) != 0) refuse(fmt::format("keeps its {}", other.name));
  }
  const auto gain = controls.get(V4L2_CID_GAIN);
  tell(gain ? fmt::format("gain {}", *gain) : "no gain setting");
  const auto balance = controls.get(V4L2_CID_WHITE_BALANCE_TEMPERATURE);
  if (balance) tell(fmt::format("white balance {} K", *balance));

  if (asked.exposure_ms > 0 && !exposure) {
    refuse("has no exposure setting; leave exposure_ms out of the rig file");
  } else if (asked.exposure_ms > 0 &&
             std::abs(exposure_ms - asked.exposure_ms) > exposure_within * asked.exposure_ms) {
    refuse(fmt::format("keeps its exposure at {:.1f} ms where {:.1f} was asked for", exposure_ms,
                       asked.exposure_ms));
  }
  if (asked.gain >= 0 && !gain) {
    refuse("has no gain setting; leave gain out of the rig file");
  } else if (asked.gain >= 0 && std::abs(*gain - asked.gain) > 0.5) {
    refuse(fmt::format("keeps its gain at {} where {} was asked for", *gain, asked.gain));
  }
  if (!refused.empty())
    throw CameraError(fmt::format("the camera {} {}{}; read back: {}", asked.from, refused,
                                  refused.starts_with("keeps") ? "; set it by hand (v4l2-ctl)" : "", told));
  return told;
}

}  // namespace tachproof
