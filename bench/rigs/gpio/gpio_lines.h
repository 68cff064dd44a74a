// Lines of the kernel's GPIO character device, by its version 2 ioctls (Linux
// 5.10; <linux/gpio.h>). Version 1, which libgpiod 1.6 of Debian 12 uses, keeps
// the oldest 16 of unread edges and does not report the rest; version 2 keeps
// the newest, up to event_buffer_size, and numbers them, so that a loss shows.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "bench/rigs/gpio/gpio_kernel.h"
#include "core/base/time.h"

namespace tachproof {

struct GpioLineFound {
  std::string name;      // may be empty
  std::string consumer;  // who uses it; empty: nobody, or nameless
  bool used = false;
};

struct GpioChipFound {
  std::string device;       // "/dev/gpiochip0"
  std::string name, label;  // "gpiochip0", "pinctrl-bcm2711"
  std::vector<GpioLineFound> lines;
  std::string closed_because;  // with the remedy; empty: it can be opened
};
std::vector<GpioChipFound> gpio_chips(GpioKernel& kernel);

// The chip that `wanted` means: its label, name or device; or, when empty, the
// one chip that has all `lines`. Throws RigError, a sentence.
const GpioChipFound& find_gpio_chip(const std::vector<GpioChipFound>& chips, const std::string& wanted,
                                    const std::vector<std::string>& lines);
// The line of this name, or of this number. Throws RigError.
unsigned find_gpio_line(const GpioChipFound& chip, const std::string& line);

enum class GpioBias { as_is, off, pull_up, pull_down };

struct GpioEdge {
  Nanos at = 0;  // CLOCK_MONOTONIC, taken by the interrupt handler
  unsigned line = 0;
  bool rising = false;         // to active
  std::uint32_t sequence = 0;  // of all edges of the request, from 1
};

// Inputs of one chip in one request, so that their edges are numbered together.
// The kernel's debounce is off: a bounce is evidence too.
class GpioLines {
 public:
  // Throws RigError: no permission, a line in use, an old kernel.
  GpioLines(std::shared_ptr<GpioKernel> kernel, const GpioChipFound& chip, std::vector<unsigned> lines,
            bool active_low, GpioBias bias);
  ~GpioLines();
  GpioLines(const GpioLines&) = delete;

  std::vector<bool> active();           // now, in the order of the request; throws RigError
  std::optional<GpioEdge> next_edge();  // that has come; throws RigError

  static constexpr unsigned unread_edges = 1024;  // the kernel's most

 private:
  std::shared_ptr<GpioKernel> kernel_;
  std::string name_;
  std::vector<unsigned> lines_;
  int fd_ = -1;
};

}  // namespace tachproof
