// The bench with an emulated board plugged in, in lock step: everything that a
// run on hardware has, and the pins to look at.
#pragma once

#include <memory>
#include <span>
#include <string>
#include <thread>
#include <vector>

#include "bench/rigs/board.h"
#include "tests/emulated_board/board_server.h"

namespace tachproof {

class BenchWithBoard {
 public:
  // `settings.port` is filled in. `unit`: what is wired to the pins, if anything.
  // `host_rate`: how fast the host's clock runs, by the board's.
  explicit BenchWithBoard(BoardSettings settings, std::unique_ptr<WiredUnit> unit = nullptr,
                          double host_rate = 1);
  ~BenchWithBoard();
  BenchWithBoard(const BenchWithBoard&) = delete;

  // To be looked at between the bench's calls only: it lives in another thread.
  EmulatedBoard& board() { return board_; }
  Rig& rig() { return rig_; }
  const std::string& port() const { return server_.port(); }
  // A request to the board's server, such as "reset".
  void request(const std::string& line) { server_.answer(line); }

  // A whole run, fed as the runner feeds a rig in real time. Throws what the
  // rig throws, after ending it.
  struct Run {
    std::vector<LampEvent> events;
    std::uint64_t lost = 0;
    Nanos until = 0;
  };
  Run run(std::span<const Nanos> pulses, Nanos until);

 private:
  EmulatedBoard board_;
  BoardServer server_;
  std::thread serving_;
  Rig rig_;
};

}  // namespace tachproof
