// A board that says what it was told to, whatever it is asked: a message at each turn of waiting, and time
// goes on to the end of that turn.
#pragma once

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <chrono>
#include <cstdint>
#include <deque>
#include <utility>
#include <vector>

#include "bench/rigs/board/board_link.h"
#include "bench/rigs/board/host_clock.h"
#include "bench/rigs/serial_port.h"
#include "tests/emulated_board/pseudo_terminal.h"

namespace tachproof {

class ScriptedBoard : public HostClock {
 public:
  using Bytes = std::vector<std::uint8_t>;
  ScriptedBoard(PseudoTerminal& terminal, std::deque<Bytes> messages)
      : terminal_(terminal), messages_(std::move(messages)) {}

  Nanos now() override { return now_; }
  void let_pass(boost::asio::io_context& io, const SerialPort& port, Nanos until) override {
    now_ = std::max(now_ + ns_per_us, until);
    terminal_.read();  // nobody listens, and a full line would stop the bench
    if (!messages_.empty()) {
      terminal_.write(messages_.front());
      sent_ += messages_.front().size();
      messages_.pop_front();
    }
    do {
      io.restart();
      io.run_one_for(std::chrono::seconds(port.bytes_read() < sent_ ? 2 : 0));
    } while (port.bytes_read() < sent_);
  }

 private:
  PseudoTerminal& terminal_;
  std::deque<Bytes> messages_;
  std::uint64_t sent_ = 0;
  Nanos now_ = 0;
};

}  // namespace tachproof
