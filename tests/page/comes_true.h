// Waiting in a test.
#pragma once

#include <chrono>
#include <functional>
#include <thread>

namespace tachproof {

// Asks again and again until it is so; false after half a minute.
inline bool comes_true(const std::function<bool()>& is_so) {
  const auto give_up = std::chrono::steady_clock::now() + std::chrono::seconds(30);
  while (!is_so()) {
    if (std::chrono::steady_clock::now() > give_up) return false;
    std::this_thread::sleep_for(std::chrono::milliseconds(10));
  }
  return true;
}

}  // namespace tachproof
