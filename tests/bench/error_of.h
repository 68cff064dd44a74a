// What an action complains of.
#pragma once

#include <functional>
#include <stdexcept>
#include <string>

namespace tachproof {

inline std::string error_of(const std::function<void()>& action) {
  try {
    action();
  } catch (const std::runtime_error& e) {
    return e.what();
  }
  return "none";
}

}  // namespace tachproof
