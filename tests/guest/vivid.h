// The kernel's virtual video devices (driver vivid): each a camera and a screen.
// Needs root and the module.
#pragma once

#include <cstdint>
#include <string>

namespace tachproof::test {

class Vivid {
 public:
  // Number 0 is the first device. Throws std::runtime_error when there is none.
  explicit Vivid(int number);
  ~Vivid();
  Vivid(const Vivid&) = delete;
  Vivid& operator=(const Vivid&) = delete;

  const std::string& camera() const { return camera_; }  // "/dev/video0"
  const std::string& screen() const { return screen_; }
  void choose_webcam();  // among its inputs
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

}  // namespace tachproof::test
