#include "bench/rigs/port_holder.h"

#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <cstddef>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <utility>

#include <fmt/format.h>

namespace tachproof {
namespace {

namespace fs = std::filesystem;

bool has_open(const fs::path& process, const std::string& path) {
  std::error_code error;
  for (fs::directory_iterator at(process / "fd", error), end; !error && at != end; at.increment(error)) {
    std::error_code gone;
    if (fs::read_symlink(at->path(), gone) == path && !gone) return true;
  }
  return false;
}

std::string program_of(const fs::path& process) {
  std::string name;
  std::ifstream(process / "comm") >> name;
  return name;
}

// A name of its own in the kernel's abstract sockets: no file is left behind by
// a process that is killed.
std::pair<sockaddr_un, socklen_t> claim_of(const std::string& port) {
  sockaddr_un name{};
  name.sun_family = AF_UNIX;
  const std::string text = "tachproof " + port;
  const std::size_t size = std::min(text.size(), sizeof name.sun_path - 1);
  std::copy_n(text.begin(), size, name.sun_path + 1);
  return {name, static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + 1 + size)};
}

// The process that listens under the name.
std::string claimant(const sockaddr_un& name, socklen_t size) {
  const int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
  ucred who{};
  socklen_t length = sizeof who;
  const bool known = fd >= 0 && connect(fd, reinterpret_cast<const sockaddr*>(&name), size) == 0 &&
                     getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &who, &length) == 0 && who.pid > 0;
  if (fd >= 0) close(fd);
  if (!known) return "another program is using it";
  if (who.pid == getpid()) return "this program is using it already";
  const std::string program = program_of(fs::path("/proc") / std::to_string(who.pid));
  return fmt::format("{} (process {}) is using it", program.empty() ? "another program" : program, who.pid);
}

}  // namespace

PortClaim::PortClaim(const std::string& port) {
  constexpr int most_who_ask = 16;
  const auto [name, size] = claim_of(port);
  fd_ = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
  if (fd_ >= 0 && bind(fd_, reinterpret_cast<const sockaddr*>(&name), size) == 0 &&
      listen(fd_, most_who_ask) == 0)
    return;
  refused_ = errno == EADDRINUSE
                 ? claimant(name, size)
                 : fmt::format("it cannot be locked against other programs: {}", std::strerror(errno));
  if (fd_ >= 0) close(fd_);
  fd_ = -1;
}

PortClaim::~PortClaim() {
  if (fd_ >= 0) close(fd_);
}

std::optional<PortHolder> holder_of(const std::string& path) {
  std::error_code error;
  for (fs::directory_iterator at("/proc", error), end; !error && at != end; at.increment(error)) {
    const std::string name = at->path().filename();
    PortHolder holder;
    const auto [rest, bad] = std::from_chars(name.data(), name.data() + name.size(), holder.pid);
    if (bad != std::errc{} || rest != name.data() + name.size() || holder.pid == getpid()) continue;
    if (!has_open(at->path(), path)) continue;
    holder.program = program_of(at->path());
    return holder;
  }
  return std::nullopt;
}

}  // namespace tachproof
