// Ctrl-C and every other signal that would end the program, as a question that
// the runner asks between stretches.
#pragma once

#include <optional>
#include <string>

namespace tachproof {

// From now on a signal that would end or suspend the process is noted, and the
// runner stops. Call it before a device is touched.
//
// A second signal ends the process as usual, unless a device's output must be
// switched off first (bench/rigs/last_words.h): then it only makes waiting for
// the device short. Where there is no such device, signals that suspend do so
// as usual. A crash (SIGSEGV, SIGABRT ...) tells such a device to switch off,
// says on standard error that nobody could confirm it, and ends as usual.
// SIGKILL and SIGSTOP cannot be caught. A hang-up that is ignored (nohup) stays
// ignored.
void catch_stop_signals();

// A sentence, once a signal has come: "the run was stopped at the keyboard (Ctrl-C)".
std::optional<std::string> stop_requested();

}  // namespace tachproof
