#include "bench/rigs/serial_port.h"

#include <fcntl.h>
#include <libserialport.h>
#include <linux/serial.h>
#include <poll.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <boost/asio/buffer.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <memory>
#include <utility>

#include "bench/rigs/ports.h"
#include "bench/rigs/rig.h"

namespace tachproof {
namespace {

namespace asio = boost::asio;

[[noreturn]] void refuse(const std::string& name, const std::string& why) {
  throw RigError("opening " + name + ": " + why);
}

// `name` says what it is, too.
[[noreturn]] void refuse_by_errno(const std::string& name, const std::string& path, int error) {
  switch (error) {
    case ENOENT:
    case ENODEV:
    case ENXIO: refuse(name, "there is no such port; `tachproof ports` lists those connected");
    case EACCES:
    case EPERM: refuse(name, no_permission(path));
    case EBUSY:
    case EWOULDBLOCK: refuse(name, in_use(path));
    case ENOTTY: refuse(name, "it is not a serial port");
    default: refuse(name, std::strerror(error));
  }
}

struct FreePort {
  void operator()(sp_port* port) const { sp_free_port(port); }
};
using PortHandle = std::unique_ptr<sp_port, FreePort>;

// libserialport sets the line up; its descriptor is duplicated and its handle
// let go, so that the descriptor has one owner.
int open_real(const std::string& name, const std::string& path, unsigned baud) {
  sp_port* found = nullptr;
  if (sp_get_port_by_name(path.c_str(), &found) != SP_OK) refuse(name, "it is not a serial port");
  const PortHandle port(found);
  errno = 0;
  if (sp_open(found, SP_MODE_READ_WRITE) != SP_OK) refuse_by_errno(name, path, errno);
  // Flow control must be said to be off: it stays as the last user left it.
  const bool set = sp_set_baudrate(found, static_cast<int>(baud)) == SP_OK &&
                   sp_set_bits(found, 8) == SP_OK && sp_set_parity(found, SP_PARITY_NONE) == SP_OK &&
                   sp_set_stopbits(found, 1) == SP_OK &&
                   sp_set_flowcontrol(found, SP_FLOWCONTROL_NONE) == SP_OK;
  int handle = -1;
  sp_get_port_handle(found, &handle);
  const int fd = set ? fcntl(handle, F_DUPFD_CLOEXEC, 0) : -1;
  const int error = errno;
  sp_close(found);
  if (fd < 0) refuse_by_errno(name, path, error);
  // USB bridges gather bytes for up to 16 ms; not all let themselves be asked.
  serial_struct settings{};
  if (ioctl(fd, TIOCGSERIAL, &settings) == 0) {
    settings.flags |= ASYNC_LOW_LATENCY;
    ioctl(fd, TIOCSSERIAL, &settings);
  }
  return fd;
}

int open_terminal(const std::string& name, const std::string& path) {
  const int fd = open(path.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK);
  if (fd < 0) refuse_by_errno(name, path, errno);
  return fd;
}

// A read waits for a byte, so that end-of-file means unplugged; the last close
// hangs up; nobody else may open it.
void make_ours(int fd, const std::string& name, const std::string& path) {
  termios settings{};
  if (tcgetattr(fd, &settings) != 0) refuse_by_errno(name, path, errno);
  const speed_t in = cfgetispeed(&settings), out = cfgetospeed(&settings);
  cfmakeraw(&settings);
  settings.c_cflag |= HUPCL | CLOCAL | CREAD;
  settings.c_cc[VMIN] = 1;
  settings.c_cc[VTIME] = 0;
  cfsetispeed(&settings, in);
  cfsetospeed(&settings, out);
  if (tcsetattr(fd, TCSANOW, &settings) != 0) refuse_by_errno(name, path, errno);
  if (flock(fd, LOCK_EX | LOCK_NB) != 0 || ioctl(fd, TIOCEXCL) != 0) refuse_by_errno(name, path, errno);
}

}  // namespace

int open_serial(const std::string& what, const std::string& name, unsigned baud) {
  const std::string called = what + " " + name;
  std::error_code error;
  const std::string path = std::filesystem::canonical(name, error).string();
  if (error) refuse_by_errno(called, name, error.value());
  const bool pseudo = path.starts_with("/dev/pts/");
  const int fd = pseudo ? open_terminal(called, path) : open_real(called, path, baud);
  try {
    make_ours(fd, called, path);
  } catch (...) {
    close(fd);
    throw;
  }
  return fd;
}

SerialPort::SerialPort(asio::io_context& io, const std::string& name, unsigned baud)
    : name_(name), descriptor_(io, open_serial("the board's port", name, baud)) {
  descriptor_.non_blocking(true);
}

SerialPort::~SerialPort() = default;

void SerialPort::read_into(Sink sink) {
  asio::co_spawn(descriptor_.get_executor(), read_on(std::move(sink)), asio::detached);
}

asio::awaitable<void> SerialPort::read_on(Sink sink) {
  std::array<std::uint8_t, 4096> some{};
  const auto buffer = asio::buffer(some);
  try {
    for (;;) {
      const std::size_t n = co_await descriptor_.async_read_some(buffer, asio::use_awaitable);
      bytes_read_ += n;
      sink(std::span(some).first(n));
    }
  } catch (const boost::system::system_error& e) {
    // Cancelled: the port is being closed and this object may be gone.
    if (e.code() != asio::error::operation_aborted) lost_ = true;
  }
}

void SerialPort::write(std::span<const std::uint8_t> bytes) {
  constexpr int patience_ms = 1000;
  while (!bytes.empty()) {
    const ssize_t n = ::write(descriptor_.native_handle(), bytes.data(), bytes.size());
    if (n >= 0) {
      bytes_written_ += static_cast<std::uint64_t>(n);
      bytes = bytes.subspan(static_cast<std::size_t>(n));
      continue;
    }
    if (errno == EIO || errno == ENXIO || errno == ENODEV) {
      lost_ = true;
      throw RigError("writing to the board on " + name_ + ": it has been unplugged");
    }
    if (errno != EAGAIN && errno != EINTR)
      throw RigError("writing to the board on " + name_ + ": " + std::strerror(errno));
    pollfd wait{descriptor_.native_handle(), POLLOUT, 0};
    if (poll(&wait, 1, patience_ms) == 0)
      throw RigError("writing to the board on " + name_ +
                     ": it has taken no bytes for 1 s. Unplug it, plug it in, and run again");
  }
}

}  // namespace tachproof
