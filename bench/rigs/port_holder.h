// Who else has a device open.
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

}  // namespace tachproof
