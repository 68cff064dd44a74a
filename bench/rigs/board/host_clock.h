// The time in which the host waits for a board: the wall clock's on hardware,
// the emulator's in tests.
#pragma once

#include <memory>

#include "core/base/time.h"

namespace boost::asio {
class io_context;
}

namespace tachproof {

class SerialPort;

class HostClock {
 public:
  virtual ~HostClock() = default;
  virtual Nanos now() = 0;  // never goes back
  // Runs what is due on `io`; lets time pass until something came in through
  // `port`, or until about `until`.
  virtual void let_pass(boost::asio::io_context& io, const SerialPort& port, Nanos until) = 0;
};

std::unique_ptr<HostClock> wall_clock();

}  // namespace tachproof
