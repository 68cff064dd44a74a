// The clock by which an instrument gets its commands: the host's
// CLOCK_MONOTONIC, which the kernel's GPIO stamps are of too; in tests, one
// that moves only when something waits.
#pragma once

#include <memory>

#include "core/base/time.h"

namespace tachproof {

class CommandClock {
 public:
  virtual ~CommandClock() = default;
  virtual Nanos now() = 0;  // never goes back
  virtual void wait_until(Nanos t) = 0;
};

std::shared_ptr<CommandClock> monotonic_clock();

}  // namespace tachproof
