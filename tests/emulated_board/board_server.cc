#include "tests/emulated_board/board_server.h"

#include <unistd.h>

#include <array>
#include <chrono>
#include <optional>
#include <sstream>
#include <thread>

namespace tachproof {
namespace {

std::optional<LineFault> parse_fault(std::istream& words) {
  std::string direction, kind;
  LineFault fault;
  if (!(words >> direction >> kind >> fault.byte)) return std::nullopt;
  words >> fault.bit;
  if (direction == "to-board")
    fault.direction = LineFault::Direction::to_board;
  else if (direction == "to-host")
    fault.direction = LineFault::Direction::to_host;
  else
    return std::nullopt;
  if (kind == "flip")
    fault.kind = LineFault::Kind::flip;
  else if (kind == "lose")
    fault.kind = LineFault::Kind::lose;
  else if (kind == "twice")
    fault.kind = LineFault::Kind::twice;
  else
    return std::nullopt;
  return fault;
}

bool write_all(int socket, const std::string& text) {
  std::size_t done = 0;
  while (done < text.size()) {
    const ssize_t n = ::write(socket, text.data() + done, text.size() - done);
    if (n <= 0) return false;
    done += static_cast<std::size_t>(n);
  }
  return true;
}

}  // namespace

std::string BoardServer::run(Cycles until, std::uint64_t written) {
  if (!hung_up_) {
    board_.send(terminal_.read(static_cast<std::size_t>(written - taken_)));
    taken_ = written;
  }
  board_.run_until(until);
  const auto bytes = board_.take_sent();
  if (!hung_up_) {
    terminal_.write(bytes);
    emitted_ += bytes.size();
  }
  return "at " + std::to_string(board_.cycle()) + " " + std::to_string(emitted_);
}

std::string BoardServer::answer(const std::string& request) {
  std::istringstream words(request);
  std::string verb;
  words >> verb;
  if (verb == "run") {
    Cycles until = 0;
    std::uint64_t written = 0;
    if (words >> until >> written && written >= taken_) return run(until, written);
  } else if (verb == "fault") {
    if (const auto fault = parse_fault(words)) {
      board_.damage(*fault);
      return "ok";
    }
  } else if (verb == "reset") {
    board_.reset();
    return "ok";
  } else if (verb == "hang-up") {
    terminal_.hang_up();
    hung_up_ = true;
    return "ok";
  }
  return "no";
}

void BoardServer::serve_lock_step(int socket) {
  std::string pending;
  std::array<char, 1024> some{};
  for (;;) {
    const ssize_t n = ::read(socket, some.data(), some.size());
    if (n <= 0) break;
    pending.append(some.data(), static_cast<std::size_t>(n));
    for (std::size_t end; (end = pending.find('\n')) != std::string::npos;) {
      const std::string request = pending.substr(0, end);
      pending.erase(0, end + 1);
      if (!write_all(socket, answer(request) + "\n")) pending.clear();
    }
  }
  close(socket);
}

void BoardServer::serve_paced(const std::atomic<bool>& stop) {
  const auto start = std::chrono::steady_clock::now();
  const Cycles first = board_.cycle();
  while (!stop) {
    const Nanos elapsed = std::chrono::nanoseconds(std::chrono::steady_clock::now() - start).count();
    board_.send(terminal_.read());
    board_.run_until(first + cycles_of(elapsed));
    terminal_.write(board_.take_sent());
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
  }
}

}  // namespace tachproof
