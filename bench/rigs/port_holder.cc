#include "bench/rigs/port_holder.h"

#include <unistd.h>

#include <charconv>
#include <filesystem>
#include <fstream>

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

}  // namespace

std::optional<PortHolder> holder_of(const std::string& path) {
  std::error_code error;
  for (fs::directory_iterator at("/proc", error), end; !error && at != end; at.increment(error)) {
    const std::string name = at->path().filename();
    PortHolder holder;
    const auto [rest, bad] = std::from_chars(name.data(), name.data() + name.size(), holder.pid);
    if (bad != std::errc{} || rest != name.data() + name.size() || holder.pid == getpid()) continue;
    if (!has_open(at->path(), path)) continue;
    std::ifstream(at->path() / "comm") >> holder.program;
    return holder;
  }
  return std::nullopt;
}

}  // namespace tachproof
