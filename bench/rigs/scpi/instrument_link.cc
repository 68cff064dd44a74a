#include "bench/rigs/scpi/instrument_link.h"

#include <fcntl.h>
#include <linux/usb/tmc.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <signal.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <condition_variable>
#include <cstring>
#include <mutex>
#include <string_view>
#include <thread>
#include <utility>

#include "bench/rigs/last_words.h"
#include "bench/rigs/ports.h"
#include "bench/rigs/rig.h"
#include "bench/rigs/serial_port.h"
#include "core/base/parse.h"

namespace tachproof {
namespace {

constexpr int connect_ms = 3000;
constexpr Nanos write_patience = ns_per_s;
constexpr Nanos a_while = 50 * ns_per_ms;  // until somebody looks whether there is a hurry

[[noreturn]] void refuse(const std::string& address, const std::string& why) {
  throw RigError("opening the generator at " + address + ": " + why);
}

[[noreturn]] void gone(const std::string& address, const std::string& why) {
  throw RigError("the generator at " + address + " is gone: " + why);
}

Nanos steady_now() {
  return std::chrono::nanoseconds(std::chrono::steady_clock::now().time_since_epoch()).count();
}

// A descriptor with one owner.
class Descriptor {
 public:
  explicit Descriptor(int fd) : fd_(fd) {}
  Descriptor(Descriptor&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
  Descriptor(const Descriptor&) = delete;
  ~Descriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  int get() const { return fd_; }

 private:
  int fd_;
};

// Of the steady clock; nearer from the moment when there is a hurry.
class Deadline {
 public:
  explicit Deadline(Nanos patience) : at_(steady_now() + patience) {}
  // For one wait, which is short enough to look for a hurry afterwards.
  Nanos next_wait() {
    const Nanos now = steady_now();
    if (in_a_hurry()) at_ = std::min(at_, now + hurried_ms * ns_per_ms);
    return std::clamp<Nanos>(at_ - now, 0, a_while);
  }
  bool over() const { return at_ <= steady_now(); }

 private:
  Nanos at_;
};

// No signal is handled by this thread, or by those that it starts, while one lives.
class SignalsHeld {
 public:
  SignalsHeld() {
    sigset_t all;
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before_);
  }
  ~SignalsHeld() { pthread_sigmask(SIG_SETMASK, &before_, nullptr); }
  SignalsHeld(const SignalsHeld&) = delete;
  SignalsHeld& operator=(const SignalsHeld&) = delete;

 private:
  sigset_t before_ = {};
};

// Waits for one of `events`.
bool ready(int fd, short events, Deadline& deadline) {
  for (;;) {
    pollfd wait{fd, events, 0};
    const int n = poll(&wait, 1, static_cast<int>((deadline.next_wait() + ns_per_ms - 1) / ns_per_ms));
    if (n > 0) return true;
    if (n == 0 && deadline.over()) return false;
    if (n < 0 && errno != EINTR) return true;  // the read or write will say what is wrong
  }
}

// ---- sockets and serial lines -------------------------------------------------

class StreamLink : public InstrumentLink {
 public:
  StreamLink(Descriptor fd, std::string address, std::string leads_to = "")
      : fd_(std::move(fd)), address_(std::move(address)), leads_to_(std::move(leads_to)) {}

  std::string leads_to() const override { return leads_to_; }
  int descriptor() const override { return fd_.get(); }

  void write(const std::string& message) override {
    const std::string line = message + "\n";
    std::string_view left = line;
    Deadline deadline(write_patience);
    while (!left.empty()) {
      if (!ready(fd_.get(), POLLOUT, deadline)) gone(address_, "it takes no more bytes");
      // A peer that has gone must not end the program with SIGPIPE.
      ssize_t n = ::send(fd_.get(), left.data(), left.size(), MSG_NOSIGNAL);
      if (n < 0 && errno == ENOTSOCK) n = ::write(fd_.get(), left.data(), left.size());
      if (n >= 0)
        left.remove_prefix(static_cast<std::size_t>(n));
      else if (errno != EINTR && errno != EAGAIN)
        gone(address_, std::strerror(errno));
    }
  }

  std::optional<std::string> read(Nanos patience) override {
    Deadline deadline(patience);
    for (;;) {
      if (const std::size_t end = received_.find('\n'); end != std::string::npos) {
        std::string line = received_.substr(0, end);
        received_.erase(0, end + 1);
        if (line.ends_with('\r')) line.pop_back();
        return line;
      }
      if (received_.size() > longest_answer) gone(address_, "it sends bytes without end");
      if (!ready(fd_.get(), POLLIN, deadline)) return std::nullopt;
      std::array<char, 1024> some{};
      const ssize_t n = ::read(fd_.get(), some.data(), some.size());
      if (n > 0)
        received_.append(some.data(), static_cast<std::size_t>(n));
      else if (n == 0)
        gone(address_, "it has hung up");
      else if (errno != EINTR && errno != EAGAIN)
        gone(address_, std::strerror(errno));
    }
  }

 private:
  Descriptor fd_;
  std::string address_, leads_to_;
  std::string received_;
};

std::pair<std::string, std::string> host_and_port(const std::string& address) {
  const std::size_t bracket = address.find(']');
  const std::size_t colon = address.rfind(':');
  const bool has_port = colon != std::string::npos && (bracket == std::string::npos || colon > bracket);
  std::string host = address.substr(0, has_port ? colon : std::string::npos);
  if (host.size() > 2 && host.front() == '[' && host.back() == ']') host = host.substr(1, host.size() - 2);
  return {host, has_port ? address.substr(colon + 1) : "5025"};
}

// Nothing sent for long, a peer that vanished would not be noticed.
void keep_alive(int fd) {
  const auto set = [&](int level, int option, int value) {
    setsockopt(fd, level, option, &value, sizeof value);
  };
  set(SOL_SOCKET, SO_KEEPALIVE, 1);
  set(IPPROTO_TCP, TCP_KEEPIDLE, 5);
  set(IPPROTO_TCP, TCP_KEEPINTVL, 2);
  set(IPPROTO_TCP, TCP_KEEPCNT, 3);
  set(IPPROTO_TCP, TCP_NODELAY, 1);
}

// errno, or 0 when connected.
int connect_to(int fd, const addrinfo& to) {
  if (connect(fd, to.ai_addr, to.ai_addrlen) == 0) return 0;
  if (errno != EINPROGRESS) return errno;
  Deadline deadline(connect_ms * ns_per_ms);
  if (!ready(fd, POLLOUT, deadline)) return ETIMEDOUT;
  int error = 0;
  socklen_t size = sizeof error;
  getsockopt(fd, SOL_SOCKET, SO_ERROR, &error, &size);
  return error;
}

// "192.0.2.7:5025"
std::string peer_of(int fd) {
  sockaddr_storage peer{};
  socklen_t size = sizeof peer;
  std::array<char, NI_MAXHOST> host{};
  std::array<char, NI_MAXSERV> port{};
  auto* const at = reinterpret_cast<sockaddr*>(&peer);
  if (getpeername(fd, at, &size) != 0 || getnameinfo(at, size, host.data(), host.size(), port.data(),
                                                     port.size(), NI_NUMERICHOST | NI_NUMERICSERV) != 0)
    return "";
  return std::string(host.data()) + ":" + port.data();
}

void refuse_impossible_port(const std::string& address, const std::string& port) {
  constexpr int highest = 65535;
  if (port.empty()) refuse(address, "the number of the port is missing after the colon");
  if (port.find_first_not_of("0123456789") != std::string::npos) return;  // the name of a service
  const std::optional<int> number = parse_number<int>(port);
  if (!number || *number < 1 || *number > highest)
    refuse(address, "there is no port " + port.substr(0, 20) + ": ports are numbered 1 to 65535");
}

std::unique_ptr<InstrumentLink> open_socket(const std::string& address) {
  const auto [host, port] = host_and_port(address);
  refuse_impossible_port(address, port);
  addrinfo hints{};
  hints.ai_socktype = SOCK_STREAM;
  addrinfo* found = nullptr;
  if (const int error = getaddrinfo(host.c_str(), port.c_str(), &hints, &found); error != 0)
    refuse(address, gai_strerror(error));
  const std::unique_ptr<addrinfo, decltype(&freeaddrinfo)> list(found, &freeaddrinfo);
  int error = 0;
  for (const addrinfo* to = found; to != nullptr; to = to->ai_next) {
    Descriptor fd(socket(to->ai_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, to->ai_protocol));
    error = fd.get() < 0 ? errno : connect_to(fd.get(), *to);
    if (error != 0) continue;
    keep_alive(fd.get());
    std::string peer = peer_of(fd.get());
    return std::make_unique<StreamLink>(std::move(fd), address, std::move(peer));
  }
  refuse(address, std::string(std::strerror(error)) + "; is it on, and is this its raw socket?");
}

// ---- USB test and measurement -------------------------------------------------

// The driver's read blocks, for as long as the driver likes: it is done by a
// thread that is left behind when it does not come back.
class UsbtmcLink : public InstrumentLink {
 public:
  UsbtmcLink(Descriptor fd, std::string address)
      : address_(std::move(address)), shared_(std::make_shared<Shared>(std::move(fd))) {
    const SignalsHeld held;  // its read would be broken off
    std::thread([shared = shared_] { serve(*shared); }).detach();
  }
  ~UsbtmcLink() override {
    const std::lock_guard lock(shared_->mutex);
    shared_->closed = true;
    shared_->changed.notify_all();
  }

  int descriptor() const override { return shared_->fd.get(); }

  // The driver waits for about a second at most; a write that is broken off
  // may have been sent or not.
  void write(const std::string& message) override {
    const std::string line = message + "\n";
    const SignalsHeld held;
    if (::write(shared_->fd.get(), line.data(), line.size()) != static_cast<ssize_t>(line.size()))
      gone(address_, std::strerror(errno));
  }

  std::optional<std::string> read(Nanos patience) override {
    std::unique_lock lock(shared_->mutex);
    shared_->wanted = true;
    shared_->answer.reset();
    shared_->changed.notify_all();
    const auto came = [&] { return shared_->answer || shared_->error != 0; };
    Deadline deadline(patience);
    while (!shared_->changed.wait_for(lock, std::chrono::nanoseconds(deadline.next_wait()), came))
      if (deadline.over()) return std::nullopt;
    if (shared_->error == ETIMEDOUT) return std::nullopt;
    if (shared_->error != 0) gone(address_, std::strerror(shared_->error));
    return std::exchange(shared_->answer, std::nullopt);
  }

 private:
  struct Shared {
    explicit Shared(Descriptor descriptor) : fd(std::move(descriptor)) {}
    Descriptor fd;
    std::mutex mutex;
    std::condition_variable changed;
    bool wanted = false, closed = false;
    std::optional<std::string> answer;
    int error = 0;
  };

  static void serve(Shared& shared) {
    std::unique_lock lock(shared.mutex);
    for (;;) {
      shared.changed.wait(lock, [&] { return shared.wanted || shared.closed; });
      if (shared.closed) return;
      shared.wanted = false;
      lock.unlock();
      std::array<char, longest_answer> some{};
      const ssize_t n = ::read(shared.fd.get(), some.data(), some.size());
      const int error = n < 0 ? errno : n == 0 ? ENODEV : 0;
      lock.lock();
      shared.error = error;
      if (n > 0) {
        std::string text(some.data(), static_cast<std::size_t>(n));
        while (text.ends_with('\n') || text.ends_with('\r')) text.pop_back();
        shared.answer = std::move(text);
      }
      shared.changed.notify_all();
      if (error != 0) return;
    }
  }

  std::string address_;
  std::shared_ptr<Shared> shared_;
};

std::unique_ptr<InstrumentLink> open_usbtmc(const std::string& address) {
  Descriptor fd(::open(address.c_str(), O_RDWR | O_CLOEXEC));
  if (fd.get() < 0) {
    if (errno == EACCES || errno == EPERM) refuse(address, no_permission(address));
    if (errno == ENOENT) refuse(address, "there is no such device; `tachproof ports` lists those connected");
    refuse(address, std::strerror(errno));
  }
  if (flock(fd.get(), LOCK_EX | LOCK_NB) != 0) refuse(address, "another program is using it");
#ifdef USBTMC_IOCTL_SET_TIMEOUT
  unsigned timeout_ms = 1000;  // of the driver, which would wait for five seconds
  ioctl(fd.get(), USBTMC_IOCTL_SET_TIMEOUT, &timeout_ms);
#endif
  return std::make_unique<UsbtmcLink>(std::move(fd), address);
}

}  // namespace

std::unique_ptr<InstrumentLink> open_instrument(const InstrumentAddress& address) {
  const std::string& text = address.text;
  if (!text.starts_with("/")) return open_socket(text);
  if (text.find("usbtmc") != std::string::npos) return open_usbtmc(text);
  Descriptor line(open_serial("the generator's port", text, address.baud));
  fcntl(line.get(), F_SETFL, fcntl(line.get(), F_GETFL) | O_NONBLOCK);
  return std::make_unique<StreamLink>(std::move(line), text);
}

}  // namespace tachproof
