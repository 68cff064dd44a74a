// Puts an emulated board behind a pseudo-terminal, for a program that knows
// serial ports only.
//
// Paced: the board's time follows the wall clock. Stamps then depend on the
// machine's load; edges do not.
//
// In lock step: a side socket says how far to run, and the same run gives the
// same bytes. Requests and answers are lines:
//
//     run CYCLE WRITTEN         at CYCLE EMITTED
//         runs to CYCLE once the WRITTEN-th byte from the host, counted from
//         the start, has come; EMITTED bytes have been sent back so far
//     fault to-board|to-host flip|lose|twice BYTE [BIT]          ok
//     reset                                                      ok
//     hang-up                                                    ok
//
// An unknown line is answered with `no`.
#pragma once

#include <atomic>
#include <cstdint>
#include <string>

#include "tests/emulated_board/emulated_board.h"
#include "tests/emulated_board/pseudo_terminal.h"

namespace tachproof {

class BoardServer {
 public:
  explicit BoardServer(EmulatedBoard& board) : board_(board) {}

  const std::string& port() const { return terminal_.path(); }

  void serve_paced(const std::atomic<bool>& stop);
  // Returns when the other end of the socket is closed. Takes the socket over.
  void serve_lock_step(int socket);

  // One request, without its newline.
  std::string answer(const std::string& request);

 private:
  std::string run(Cycles until, std::uint64_t written);

  EmulatedBoard& board_;
  PseudoTerminal terminal_;
  std::uint64_t taken_ = 0;    // from the host
  std::uint64_t emitted_ = 0;  // to the host
  bool hung_up_ = false;
};

}  // namespace tachproof
