// The kernel's virtual video devices (driver vivid): each a camera, and a screen
// whose picture can be led to the camera's HDMI input. Needs root and the module.
#pragma once

#include <cstddef>
#include <cstdint>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

namespace tachproof::test {

class Vivid {
 public:
  enum class Input { webcam, hdmi };
  // Number 0 is the first device. Throws std::runtime_error when there is none.
  explicit Vivid(int number);
  ~Vivid();
  Vivid(const Vivid&) = delete;
  Vivid& operator=(const Vivid&) = delete;

  const std::string& camera() const { return camera_; }  // "/dev/video0"
  const std::string& screen() const { return screen_; }
  void input(Input input);
  // A control of the camera, by its name in the driver.
  void set(const std::string& control, int value);
  int get(const std::string& control) const;
  // Nobody but this object's file may change settings, or everybody again.
  void lock_settings(bool lock);

 private:
  std::uint32_t control_id(const std::string& name) const;
  std::string camera_, screen_;
  int fd_ = -1;
};

// Shows pictures on the screen at 30 a second, and leads them to the camera.
class VividScreen {
 public:
  VividScreen(Vivid& vivid, int width, int height);
  ~VividScreen();
  VividScreen(const VividScreen&) = delete;
  VividScreen& operator=(const VividScreen&) = delete;

  // Waits until the screen has room for it. False: the screen is gone.
  bool show(const cv::Mat& bgr);

 private:
  struct Buffer {
    std::uint8_t* at;
    std::size_t length;
  };
  int fd_ = -1;
  int width_, height_;
  std::size_t stride_ = 0, used_ = 0;
  std::vector<Buffer> buffers_;
  std::size_t shown_ = 0;
};

}  // namespace tachproof::test
