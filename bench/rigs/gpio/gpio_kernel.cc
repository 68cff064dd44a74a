#include "bench/rigs/gpio/gpio_kernel.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <system_error>

namespace tachproof {
namespace {

class LinuxGpio : public GpioKernel {
 public:
  std::vector<std::string> devices() override {
    std::vector<std::string> out;
    std::error_code error;
    for (const auto& entry : std::filesystem::directory_iterator("/dev", error))
      if (entry.path().filename().string().starts_with("gpiochip")) out.push_back(entry.path().string());
    // gpiochip10 after gpiochip9.
    std::sort(out.begin(), out.end(), [](const std::string& a, const std::string& b) {
      return a.size() != b.size() ? a.size() < b.size() : a < b;
    });
    return out;
  }
  int open(const std::string& device) override { return ::open(device.c_str(), O_RDWR | O_CLOEXEC); }
  int ioctl(int fd, unsigned long request, void* argument) override { return ::ioctl(fd, request, argument); }
  bool readable(int fd) override {
    pollfd wait{fd, POLLIN, 0};
    return poll(&wait, 1, 0) > 0;
  }
  ssize_t read(int fd, void* into, std::size_t size) override { return ::read(fd, into, size); }
  void close(int fd) override { ::close(fd); }
};

}  // namespace

std::shared_ptr<GpioKernel> linux_gpio() { return std::make_shared<LinuxGpio>(); }

}  // namespace tachproof
