// The calls through which the kernel's GPIO is reached: so few that a test can
// stand in for the kernel.
#pragma once

#include <sys/types.h>

#include <cstddef>
#include <memory>
#include <string>
#include <vector>

namespace tachproof {

// As the system calls of the same names: -1 with errno when they fail.
class GpioKernel {
 public:
  virtual ~GpioKernel() = default;
  virtual std::vector<std::string> devices() = 0;  // "/dev/gpiochip0", ... by number
  virtual int open(const std::string& device) = 0;
  virtual int ioctl(int fd, unsigned long request, void* argument) = 0;
  virtual bool readable(int fd) = 0;  // now
  virtual ssize_t read(int fd, void* into, std::size_t size) = 0;
  virtual void close(int fd) = 0;
};

std::shared_ptr<GpioKernel> linux_gpio();

}  // namespace tachproof
