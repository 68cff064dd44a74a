#include "bench/rigs/camera/video_kernel.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/ioctl.h>
#include <sys/mman.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <filesystem>
#include <fstream>
#include <system_error>

#include "bench/rigs/ports.h"

namespace tachproof {
namespace {

class LinuxVideo : public VideoKernel {
 public:
  std::vector<std::string> devices() override {
    std::vector<std::string> out;
    std::error_code error;
    for (const auto& entry : std::filesystem::directory_iterator("/dev", error))
      if (entry.path().filename().string().starts_with("video")) out.push_back(entry.path().string());
    // video10 after video9.
    std::sort(out.begin(), out.end(), [](const std::string& a, const std::string& b) {
      return a.size() != b.size() ? a.size() < b.size() : a < b;
    });
    return out;
  }
  std::string card(const std::string& device) override {
    std::ifstream file("/sys/class/video4linux/" + device.substr(device.rfind('/') + 1) + "/name");
    std::string name;
    std::getline(file, name);
    return name;
  }
  std::string stable_name(const std::string& device) override {
    const std::string by_id = tachproof::stable_name(device, "/dev/v4l/by-id");
    return by_id != device ? by_id : tachproof::stable_name(device, "/dev/v4l/by-path");
  }
  int open(const std::string& device) override {
    return ::open(device.c_str(), O_RDWR | O_NONBLOCK | O_CLOEXEC);
  }
  int ioctl(int fd, unsigned long request, void* argument) override {
    int result;
    do result = ::ioctl(fd, request, argument);
    while (result < 0 && errno == EINTR);
    return result;
  }
  void* map(int fd, std::size_t length, off_t offset) override {
    void* at = ::mmap(nullptr, length, PROT_READ | PROT_WRITE, MAP_SHARED, fd, offset);
    return at == MAP_FAILED ? nullptr : at;
  }
  void unmap(void* at, std::size_t length) override { ::munmap(at, length); }
  int wait(int fd, int timeout_ms) override {
    pollfd wait{fd, POLLIN, 0};
    int ready;
    do ready = ::poll(&wait, 1, timeout_ms);
    while (ready < 0 && errno == EINTR);
    return ready;
  }
  void close(int fd) override { ::close(fd); }
};

}  // namespace

std::shared_ptr<VideoKernel> linux_video() { return std::make_shared<LinuxVideo>(); }

}  // namespace tachproof
