// Signals, in processes of their own: what they do is done to a whole process.
#include "bench/run/stop_request.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <csignal>
#include <cstdlib>
#include <functional>
#include <string>

#include "bench/rigs/last_words.h"

namespace tachproof {
namespace {

using testing::HasSubstr;

struct Ended {
  int status = 0;
  std::string heard;  // by the device
  std::string said;   // on standard error
};

std::string all_of(int fd) {
  std::string text;
  std::array<char, 512> some{};
  for (ssize_t n = 0; (n = read(fd, some.data(), some.size())) > 0;)
    text.append(some.data(), static_cast<std::size_t>(n));
  close(fd);
  return text;
}

// Does `what` in a child, which has a device.
Ended in_a_child(const std::function<void(int device)>& what) {
  int device[2], error[2];
  if (socketpair(AF_UNIX, SOCK_STREAM, 0, device) != 0 || pipe(error) != 0) throw std::runtime_error("pipes");
  const pid_t child = fork();
  if (child == 0) {
    const rlimit no_core{0, 0};
    setrlimit(RLIMIT_CORE, &no_core);
    dup2(error[1], STDERR_FILENO);
    close(device[0]);
    catch_stop_signals();
    what(device[1]);
    _exit(0);
  }
  close(device[1]);
  close(error[1]);
  Ended ended{0, all_of(device[0]), all_of(error[0])};
  waitpid(child, &ended.status, 0);
  return ended;
}

TEST(StopRequest, ACrashTellsTheDeviceToSwitchOffAndEndsAsUsual) {
  const Ended ended = in_a_child([](int device) {
    SwitchedOffFirst first("OUTP2 OFF");
    first.way(device);
    std::abort();
  });
  EXPECT_TRUE(WIFSIGNALED(ended.status));
  EXPECT_EQ(WTERMSIG(ended.status), SIGABRT);
  EXPECT_EQ(ended.heard, "\nOUTP2 OFF\n");
  EXPECT_THAT(ended.said, HasSubstr("the output may still be on: switch it off at the instrument."));
}

TEST(StopRequest, ACrashWithNoWayToTheDeviceSaysSo) {
  const Ended ended = in_a_child([](int) {
    const SwitchedOffFirst first("OUTP OFF");
    std::abort();
  });
  EXPECT_EQ(WTERMSIG(ended.status), SIGABRT);
  EXPECT_EQ(ended.heard, "");
  EXPECT_THAT(ended.said, HasSubstr("could not reach the generator"));
}

TEST(StopRequest, ACrashWithoutADeviceSaysNothing) {
  const Ended ended = in_a_child([](int) { std::abort(); });
  EXPECT_EQ(WTERMSIG(ended.status), SIGABRT);
  EXPECT_EQ(ended.said, "");
}

TEST(StopRequest, ASecondSignalEndsAProgramThatHasNothingToSwitchOff) {
  const Ended ended = in_a_child([](int) {
    raise(SIGINT);
    raise(SIGTERM);
  });
  EXPECT_TRUE(WIFSIGNALED(ended.status));
  EXPECT_EQ(WTERMSIG(ended.status), SIGTERM);
}

TEST(StopRequest, ASecondSignalOnlyMakesHasteWhileADeviceIsToBeSwitchedOff) {
  const Ended ended = in_a_child([](int) {
    const SwitchedOffFirst first("OUTP OFF");
    raise(SIGINT);
    const bool hasty = in_a_hurry();
    raise(SIGUSR1);
    _exit(!hasty && in_a_hurry() && stop_requested() == "the run was stopped at the keyboard (Ctrl-C)" ? 7
                                                                                                       : 8);
  });
  EXPECT_TRUE(WIFEXITED(ended.status));
  EXPECT_EQ(WEXITSTATUS(ended.status), 7);
}

TEST(StopRequest, NamesTheSignalThatItHasNoWordsFor) {
  const Ended ended = in_a_child([](int) {
    raise(SIGUSR2);
    _exit(stop_requested() == "the run was stopped by the signal SIGUSR2" ? 7 : 8);
  });
  EXPECT_EQ(WEXITSTATUS(ended.status), 7);
}

}  // namespace
}  // namespace tachproof
