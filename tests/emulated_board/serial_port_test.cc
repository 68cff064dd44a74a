#include "bench/rigs/serial_port.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fcntl.h>
#include <signal.h>
#include <sys/file.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <filesystem>
#include <numeric>
#include <string>

#include "bench/rigs/rig.h"
#include "tests/emulated_board/pseudo_terminal.h"

namespace tachproof {
namespace {

using Bytes = std::vector<std::uint8_t>;

std::string refusal(const std::string& name) {
  boost::asio::io_context io;
  try {
    SerialPort port(io, name, 500'000);
  } catch (const RigError& e) {
    return e.what();
  }
  return "opened";
}

Bytes all_bytes() {
  Bytes out(256);
  std::iota(out.begin(), out.end(), std::uint8_t{0});
  return out;
}

TEST(SerialPort, CarriesEveryByteBothWays) {
  PseudoTerminal terminal;
  boost::asio::io_context io;
  SerialPort port(io, terminal.path(), 500'000);
  Bytes got;
  port.read_into(
      [&](std::span<const std::uint8_t> bytes) { got.insert(got.end(), bytes.begin(), bytes.end()); });
  terminal.write(all_bytes());
  while (got.size() < 256) io.run_one();
  EXPECT_EQ(got, all_bytes());
  port.write(all_bytes());
  EXPECT_EQ(terminal.read(256), all_bytes());
  EXPECT_EQ(port.bytes_read(), 256u);
  EXPECT_EQ(port.bytes_written(), 256u);
  EXPECT_FALSE(port.lost());
}

TEST(SerialPort, FollowsALinkToThePort) {
  PseudoTerminal terminal;
  const std::string link = ::testing::TempDir() + "port-link-" + std::to_string(getpid());
  std::filesystem::remove(link);
  std::filesystem::create_symlink(terminal.path(), link);
  EXPECT_EQ(refusal(link), "opened");
  std::filesystem::remove(link);
}

TEST(SerialPort, NoticesThatItIsUnplugged) {
  PseudoTerminal terminal;
  boost::asio::io_context io;
  SerialPort port(io, terminal.path(), 500'000);
  port.read_into([](std::span<const std::uint8_t>) {});
  io.poll();
  terminal.hang_up();
  io.restart();
  while (!port.lost() && io.run_one() > 0) {
  }
  EXPECT_TRUE(port.lost());
}

TEST(SerialPort, SaysThatThereIsNoSuchPort) {
  EXPECT_EQ(refusal("/dev/no-such-port"),
            "opening the board's port /dev/no-such-port: there is no such port; `tachproof ports` lists "
            "those connected");
}

TEST(SerialPort, SaysThatSomebodyElseHasIt) {
  PseudoTerminal terminal;
  boost::asio::io_context io;
  SerialPort first(io, terminal.path(), 500'000);
  EXPECT_EQ(refusal(terminal.path()),
            "opening the board's port " + terminal.path() + ": another program is using it");
}

TEST(SerialPort, NamesTheProgramThatHasIt) {
  PseudoTerminal terminal;
  std::array<int, 2> ready{};
  ASSERT_EQ(pipe(ready.data()), 0);
  const pid_t child = fork();
  if (child == 0) {
    const int fd = open(terminal.path().c_str(), O_RDWR | O_NOCTTY);
    if (fd < 0 || flock(fd, LOCK_EX) != 0 || write(ready[1], "", 1) != 1) _exit(1);
    pause();
    _exit(0);
  }
  char byte = 0;
  EXPECT_EQ(read(ready[0], &byte, 1), 1);
  EXPECT_EQ(refusal(terminal.path()), "opening the board's port " + terminal.path() +
                                          ": board_tests (process " + std::to_string(child) +
                                          ") is using it");
  kill(child, SIGKILL);
  waitpid(child, nullptr, 0);
  close(ready[0]);
  close(ready[1]);
}

TEST(SerialPort, SaysThatItIsNoSerialPort) {
  EXPECT_EQ(refusal("/dev/null"), "opening the board's port /dev/null: it is not a serial port");
}

}  // namespace
}  // namespace tachproof
