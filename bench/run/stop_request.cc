#include "bench/run/stop_request.h"

#include <signal.h>
#include <string.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <cerrno>

#include <fmt/format.h>

#include "bench/rigs/last_words.h"

namespace tachproof {

namespace {

// Their usual action is to end or to suspend the process.
constexpr int ending[] = {SIGHUP,  SIGINT,    SIGQUIT, SIGPIPE, SIGALRM, SIGTERM, SIGUSR1,  SIGUSR2,
                          SIGPOLL, SIGVTALRM, SIGPROF, SIGXCPU, SIGXFSZ, SIGPWR,  SIGSTKFLT};
constexpr int suspending[] = {SIGTSTP, SIGTTIN, SIGTTOU};
constexpr int crashing[] = {SIGSEGV, SIGBUS, SIGFPE, SIGILL, SIGABRT, SIGSYS, SIGTRAP};

std::atomic<int> caught{0};
static_assert(std::atomic<int>::is_always_lock_free);

bool suspends(int signal) { return signal == SIGTSTP || signal == SIGTTIN || signal == SIGTTOU; }

void note(int signal) {
  int none = 0;
  if (caught.compare_exchange_strong(none, signal)) return;
  if (some_are_switched_off_first()) return hurry();
  // The call that raised these fails, and says so; suspending is not for the second time either.
  if (signal == SIGPIPE || signal == SIGXFSZ || suspends(signal)) return;
  struct sigaction usual = {};
  usual.sa_handler = SIG_DFL;
  sigaction(signal, &usual, nullptr);
  raise(signal);  // comes when the handler returns
}

void handle_request(int signal) {
  const int error = errno;
  if (suspends(signal) && !some_are_switched_off_first())
    raise(SIGSTOP);
  else
    note(signal);
  errno = error;
}

extern "C" void on_request(int signal) { handle_request(signal); }

template <std::size_t n>
void print(const char (&text)[n]) {
  [[maybe_unused]] const ssize_t written = write(STDERR_FILENO, text, n - 1);
}

// Sent by another process it is a request like the others. A fault of its own
// ends the program: the handler is not entered twice, and what caused the
// signal happens again, or it is raised.
extern "C" void on_crash(int signal, siginfo_t* info, void*) {
  const bool asked = info->si_code <= 0 && info->si_pid != getpid();
  if (asked) {
    struct sigaction again = {};
    again.sa_sigaction = on_crash;
    again.sa_flags = static_cast<int>(SA_SIGINFO | SA_RESETHAND | SA_ONSTACK);
    sigaction(signal, &again, nullptr);
    return handle_request(signal);
  }
  if (some_are_switched_off_first()) {
    if (send_last_words())
      print(
          "\ntachproof: the program has crashed. It told the generator to switch its output off and could "
          "not "
          "wait for the answer: the output may still be on: switch it off at the instrument.\n");
    else
      print(
          "\ntachproof: the program has crashed and could not reach the generator: its output may still be "
          "on: switch it off at the instrument.\n");
  }
  if (info->si_code <= 0) raise(signal);
}

void catch_request(int signal) {
  struct sigaction action = {};
  action.sa_handler = on_request;
  // No SA_RESTART: a question at the terminal must not hold up Ctrl-C.
  sigaction(signal, &action, nullptr);
}

bool usual(int signal) {
  struct sigaction now = {};
  return sigaction(signal, nullptr, &now) == 0 && (now.sa_flags & SA_SIGINFO) == 0 &&
         now.sa_handler == SIG_DFL;
}

void catch_crashes() {
  static std::array<char, 1 << 16> stack;  // for the handler, where a stack has overflowed
  stack_t alternative = {};
  alternative.ss_sp = stack.data();
  alternative.ss_size = stack.size();
  bool has_stack = false;
  for (const int signal : crashing) {
    if (!usual(signal)) continue;  // a sanitizer's, or ours already
    // A thread that has one keeps it: a sanitizer's is freed by the sanitizer.
    stack_t now = {};
    if (!has_stack && sigaltstack(nullptr, &now) == 0 && (now.ss_flags & SS_DISABLE) != 0)
      sigaltstack(&alternative, nullptr);
    has_stack = true;
    struct sigaction action = {};
    action.sa_sigaction = on_crash;
    action.sa_flags = static_cast<int>(SA_SIGINFO | SA_RESETHAND | SA_ONSTACK);
    sigaction(signal, &action, nullptr);
  }
}

}  // namespace

void catch_stop_signals() {
  for (const int signal : ending)
    if (signal == SIGINT || signal == SIGTERM || usual(signal)) catch_request(signal);
  for (int signal = SIGRTMIN; signal <= SIGRTMAX; ++signal)
    if (usual(signal)) catch_request(signal);
  for (const int signal : suspending)
    if (usual(signal)) catch_request(signal);
  catch_crashes();
}

std::optional<std::string> stop_requested() {
  switch (const int signal = caught) {
    case 0: return std::nullopt;
    case SIGINT: return "the run was stopped at the keyboard (Ctrl-C)";
    case SIGQUIT: return "the run was stopped at the keyboard (Ctrl-\\)";
    case SIGTSTP: return "the run was stopped at the keyboard (Ctrl-Z)";
    case SIGTERM: return "the run was stopped by another program (SIGTERM)";
    case SIGHUP: return "the run was stopped because its terminal was closed (SIGHUP)";
    case SIGPIPE: return "the run was stopped because nobody reads its output any more (SIGPIPE)";
    case SIGXCPU: return "the run was stopped because its limit of processor time is used up (SIGXCPU)";
    case SIGXFSZ: return "the run was stopped because a file is as large as the limit allows (SIGXFSZ)";
    default: {
      const char* const name = sigabbrev_np(signal);
      return name != nullptr ? fmt::format("the run was stopped by the signal SIG{}", name)
                             : fmt::format("the run was stopped by signal {}", signal);
    }
  }
}

}  // namespace tachproof
