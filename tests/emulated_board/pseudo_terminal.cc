#include "tests/emulated_board/pseudo_terminal.h"

#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <stdexcept>
#include <system_error>

namespace tachproof {
namespace {

[[noreturn]] void fail(const char* doing) {
  throw std::system_error(errno, std::generic_category(), std::string("pseudo-terminal: ") + doing);
}

}  // namespace

PseudoTerminal::PseudoTerminal() {
  master_ = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK);
  if (master_ < 0) fail("opening");
  std::array<char, 64> name{};
  if (grantpt(master_) != 0 || unlockpt(master_) != 0) fail("unlocking");
  if (ptsname_r(master_, name.data(), name.size()) != 0) fail("naming");
  path_ = name.data();
  slave_ = open(path_.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC);
  if (slave_ < 0) fail("opening the other side");
  termios settings{};
  if (tcgetattr(slave_, &settings) != 0) fail("reading its settings");
  cfmakeraw(&settings);
  if (tcsetattr(slave_, TCSANOW, &settings) != 0) fail("making it raw");
}

PseudoTerminal::~PseudoTerminal() { hang_up(); }

std::vector<std::uint8_t> PseudoTerminal::read() {
  std::vector<std::uint8_t> out;
  std::array<std::uint8_t, 4096> some{};
  for (;;) {
    const ssize_t n = ::read(master_, some.data(), some.size());
    if (n <= 0) return out;
    out.insert(out.end(), some.begin(), some.begin() + n);
  }
}

std::vector<std::uint8_t> PseudoTerminal::read(std::size_t count) {
  std::vector<std::uint8_t> out(count);
  std::size_t got = 0;
  while (got < count) {
    const ssize_t n = ::read(master_, out.data() + got, count - got);
    if (n > 0) {
      got += static_cast<std::size_t>(n);
      continue;
    }
    pollfd wait{master_, POLLIN, 0};
    if (poll(&wait, 1, 2000) == 0)
      throw std::runtime_error("pseudo-terminal: bytes that were announced did not come");
  }
  return out;
}

void PseudoTerminal::write(std::span<const std::uint8_t> bytes) {
  while (!bytes.empty()) {
    const ssize_t n = ::write(master_, bytes.data(), bytes.size());
    if (n > 0) {
      bytes = bytes.subspan(static_cast<std::size_t>(n));
      continue;
    }
    if (master_ < 0) return;
    pollfd wait{master_, POLLOUT, 0};
    if (poll(&wait, 1, 2000) == 0) throw std::runtime_error("pseudo-terminal: nobody reads");
  }
}

void PseudoTerminal::hang_up() {
  if (slave_ >= 0) close(slave_);
  if (master_ >= 0) close(master_);
  slave_ = master_ = -1;
}

}  // namespace tachproof
