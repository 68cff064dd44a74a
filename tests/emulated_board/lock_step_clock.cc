#include "tests/emulated_board/lock_step_clock.h"

#include <unistd.h>

#include <boost/asio/io_context.hpp>
#include <chrono>
#include <sstream>
#include <stdexcept>

#include "bench/rigs/serial_port.h"

namespace tachproof {

LockStepClock::~LockStepClock() { close(socket_); }

std::string LockStepClock::ask(const std::string& request) {
  const std::string line = request + "\n";
  if (::write(socket_, line.data(), line.size()) != static_cast<ssize_t>(line.size()))
    throw std::runtime_error("the emulated board's side socket is closed");
  std::string answer;
  for (char c = 0; c != '\n';) {
    if (::read(socket_, &c, 1) != 1) throw std::runtime_error("the emulated board's side socket is closed");
    answer += c;
  }
  return answer;
}

void LockStepClock::let_pass(boost::asio::io_context& io, const SerialPort& port, Nanos) {
  io.restart();
  if (io.poll() > 0) return;
  asked_ += quantum;
  std::istringstream words(ask("run " + std::to_string(asked_) + " " + std::to_string(port.bytes_written())));
  std::string at;
  std::uint64_t emitted = 0;
  if (!(words >> at >> cycle_ >> emitted) || at != "at")
    throw std::runtime_error("the emulated board does not understand: " + words.str());
  // A pseudo-terminal may deliver a little after the other side's write.
  const auto patience = std::chrono::steady_clock::now() + std::chrono::seconds(2);
  while (port.bytes_read() < emitted && !port.lost() && std::chrono::steady_clock::now() < patience) {
    io.restart();
    io.run_one_until(patience);
  }
}

}  // namespace tachproof
