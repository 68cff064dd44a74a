// What the camera's program says, line by line: who it is, then frames.
#pragma once

#include <chrono>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/camera/camera_lines.h"
#include "bench/rigs/camera/camera_process.h"
#include "core/camera/lamp_frames.h"

namespace tachproof {

using OpenCamera = std::function<std::unique_ptr<CameraLines>(const std::vector<std::string>&)>;

class CameraStream {
 public:
  // Hears who it is. `colours`: how many were taught, for each region that it looks at. Throws RigError when
  // it does not speak as it should.
  CameraStream(const CameraSettings& settings, std::vector<std::size_t> colours, const OpenCamera& open);

  const std::string& about() const { return about_; }
  Nanos period() const { return period_; }  // of the frames
  const std::string& said() const { return said_; }
  std::uint64_t frames() const { return number_; }  // that came
  bool ended() const { return ended_; }

  struct Frame {
    std::uint64_t number = 0;
    FrameReading reading;
  };
  struct Line {  // neither: something else
    std::optional<Frame> frame;
    std::optional<LostSight> moved;  // the dial was not found
  };
  // The next line; nothing when none came in time. Throws RigError.
  std::optional<Line> next(std::chrono::milliseconds patience);

 private:
  std::string greeting(std::string_view start);

  bool is_of_the_regions(const FrameReading& reading) const;

  std::vector<std::size_t> colours_;
  std::unique_ptr<CameraLines> process_;
  std::string about_, said_;
  Nanos period_ = 0;
  std::uint64_t number_ = 0;
  bool ended_ = false;
};

}  // namespace tachproof
