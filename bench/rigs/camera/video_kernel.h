// The calls through which the kernel's video devices (V4L2) are reached: so few
// that a test can stand in for the kernel.
#pragma once

#include <sys/types.h>

#include <cstddef>
#include <memory>
#include <string>
#include <vector>

namespace tachproof {

// As the system calls of the same names: -1 with errno when they fail. A call
// that a signal interrupts is made again.
class VideoKernel {
 public:
  virtual ~VideoKernel() = default;
  virtual std::vector<std::string> devices() = 0;  // "/dev/video0", ... by number
  // What the system knows of a device without opening it; empty: nothing.
  virtual std::string card(const std::string& device) = 0;
  virtual std::string stable_name(const std::string& device) = 0;  // the device itself where there is none
  // For reading and writing, and so that reading never waits.
  virtual int open(const std::string& device) = 0;
  virtual int ioctl(int fd, unsigned long request, void* argument) = 0;
  virtual void* map(int fd, std::size_t length, off_t offset) = 0;  // null when it fails
  virtual void unmap(void* at, std::size_t length) = 0;
  // 1: something is there to be read, an error included; 0: nothing came in time.
  virtual int wait(int fd, int timeout_ms) = 0;
  virtual void close(int fd) = 0;
};

std::shared_ptr<VideoKernel> linux_video();

}  // namespace tachproof
