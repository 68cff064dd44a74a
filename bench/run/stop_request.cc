#include "bench/run/stop_request.h"

#include <csignal>

namespace tachproof {

namespace {

volatile std::sig_atomic_t caught = 0;

extern "C" void note_signal(int signal) { caught = signal; }

}  // namespace

void catch_stop_signals() {
  struct sigaction action = {};
  action.sa_handler = note_signal;
  // No SA_RESTART: a question at the terminal must not hold up Ctrl-C.
  action.sa_flags = static_cast<int>(SA_RESETHAND);
  sigaction(SIGINT, &action, nullptr);
  sigaction(SIGTERM, &action, nullptr);
}

std::optional<std::string> stop_requested() {
  if (caught == 0) return std::nullopt;
  return caught == SIGINT ? "the run was stopped at the keyboard (Ctrl-C)"
                          : "the run was stopped by another program (SIGTERM)";
}

}  // namespace tachproof
