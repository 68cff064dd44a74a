// What a signal must know of the devices in use.
//
// While a device's output may be on, a signal must not end the program: the
// output is switched off first. A second request to stop makes waiting for
// devices short. And a program that crashes still tells the device to switch
// off, though nobody can wait for its answer.
//
// What a signal handler may call is marked; those use atomics and send() only.
#pragma once

#include <cstddef>
#include <string_view>

namespace tachproof {

// One device that is to be switched off before the program ends.
class SwitchedOffFirst {
 public:
  // `words` is what switches it off: "OUTP OFF". Throws std::logic_error when
  // there are more devices than places.
  explicit SwitchedOffFirst(std::string_view words);
  ~SwitchedOffFirst();
  SwitchedOffFirst(const SwitchedOffFirst&) = delete;
  SwitchedOffFirst& operator=(const SwitchedOffFirst&) = delete;

  // The descriptor that leads to it; -1: none at present.
  void way(int fd) noexcept;

 private:
  std::size_t place_;
};

// For signal handlers: whether there is such a device.
bool some_are_switched_off_first() noexcept;
// For signal handlers: sends each device its words, without waiting. True: at least one took them.
bool send_last_words() noexcept;

// For signal handlers: from now on no wait for a device is longer than `hurried_ms`.
void hurry() noexcept;
bool in_a_hurry() noexcept;
inline constexpr int hurried_ms = 200;

// For tests, which go on afterwards.
void no_hurry() noexcept;

}  // namespace tachproof
