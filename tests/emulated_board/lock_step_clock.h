// The emulated board's time as the host's: it passes only when the host waits,
// in equal steps, so that a run comes out the same every time.
#pragma once

#include <cstdint>
#include <string>

#include "bench/rigs/board/host_clock.h"
#include "tests/emulated_board/emulated_board.h"

namespace tachproof {

class LockStepClock : public HostClock {
 public:
  // `socket`: the other end of a BoardServer's. Closed at the end. `rate`: how
  // fast this clock runs, by the board's.
  explicit LockStepClock(int socket, double rate = 1) : socket_(socket), rate_(rate) {}
  ~LockStepClock() override;

  Nanos now() override { return static_cast<Nanos>(rate_ * static_cast<double>(nanos_of(cycle_))); }
  void let_pass(boost::asio::io_context& io, const SerialPort& port, Nanos until) override;

  // Stamps depend on when bytes arrive and so on this; edges do not.
  static constexpr Cycles quantum = cycles_of(5 * ns_per_ms);

 private:
  std::string ask(const std::string& request);

  int socket_;
  double rate_;
  Cycles asked_ = 0;  // a multiple of the quantum
  Cycles cycle_ = 0;
};

}  // namespace tachproof
