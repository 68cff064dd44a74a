// Who else has a device.
#pragma once

#include <optional>
#include <string>

namespace tachproof {

struct PortHolder {
  int pid = 0;
  std::string program;
};

// Another process that has `path` open, as far as this user may see.
std::optional<PortHolder> holder_of(const std::string& path);

// For a device that cannot be locked, such as an address in the network: a claim
// that one process at a time can have on this machine, whoever the user is. It
// ends when this is destroyed or the process ends, however it ends.
class PortClaim {
 public:
  explicit PortClaim(const std::string& port);
  ~PortClaim();
  PortClaim(const PortClaim&) = delete;
  PortClaim& operator=(const PortClaim&) = delete;

  // Why it is not ours: "tachproof (process 4711) is using it". Empty: it is.
  const std::string& refused() const { return refused_; }

 private:
  int fd_ = -1;
  std::string refused_;
};

}  // namespace tachproof
