// The bench with an emulated board plugged in, in lock step: everything that a
// run on hardware has, and the pins to look at.
#pragma once

#include <memory>
#include <span>
#include <string>
#include <thread>
#include <vector>

#include "bench/rigs/board/board.h"
#include "bench/run/runner.h"
#include "tests/emulated_board/board_server.h"

namespace tachproof {

// The emulated board behind its pseudo-terminal. Whoever has the clock drives it.
class ServedBoard {
 public:
  // `unit`: what is wired to the pins, if anything.
  explicit ServedBoard(std::unique_ptr<WiredUnit> unit = nullptr);
  ~ServedBoard();  // the clock has to be gone
  ServedBoard(const ServedBoard&) = delete;

  // Once. `host_rate`: how fast the host's clock runs, by the board's.
  std::unique_ptr<HostClock> take_clock(double host_rate = 1);
  // To be looked at between the host's calls only: it lives in another thread.
  EmulatedBoard& board() { return board_; }
  const std::string& port() const { return server_.port(); }
  // A request to the board's server, such as "reset".
  void request(const std::string& line) { server_.answer(line); }

 private:
  EmulatedBoard board_;
  BoardServer server_;
  int socket_ = -1;  // of the clock, until it is taken
  std::thread serving_;
};

class BenchWithBoard {
 public:
  // `settings.port` is filled in; the rest is ServedBoard's.
  explicit BenchWithBoard(BoardSettings settings, std::unique_ptr<WiredUnit> unit = nullptr,
                          double host_rate = 1);

  EmulatedBoard& board() { return served_.board(); }
  Rig& rig() { return rig_; }
  const std::string& port() const { return served_.port(); }
  void request(const std::string& line) { served_.request(line); }

  // A whole run, fed as the runner feeds a rig in real time. Throws what the
  // rig throws, after ending it.
  struct Run {
    std::vector<LampEvent> events;
    std::uint64_t lost = 0;
    Nanos until = 0;
  };
  Run run(std::span<const Nanos> pulses, Nanos until);

 private:
  ServedBoard served_;
  Rig rig_;
};

// All but thresholds, which most tests play too little to prove.
inline JudgeWhat all_but_thresholds() {
  JudgeWhat what;
  what.thresholds = false;
  return what;
}

// A scenario from runner to verdict; the run's folder is gone afterwards.
RunResult run_on(Rig& rig, const Gauge& gauge, const Profile& profile,
                 const JudgeWhat& what = all_but_thresholds(), const RunHooks& hooks = {});

}  // namespace tachproof
