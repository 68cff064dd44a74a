#include "tests/page/hostile.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cstdlib>
#include <stdexcept>
#include <utility>

namespace tachproof {

HostileClient::HostileClient(std::uint16_t port) : socket_(socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
  sockaddr_in to{};
  to.sin_family = AF_INET;
  to.sin_port = htons(port);
  to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  if (socket_ < 0 || connect(socket_, reinterpret_cast<const sockaddr*>(&to), sizeof to) != 0) {
    if (socket_ >= 0) close(socket_);
    throw std::runtime_error("nobody listens on port " + std::to_string(port));
  }
}

HostileClient::HostileClient(HostileClient&& from) noexcept : socket_(std::exchange(from.socket_, -1)) {}

HostileClient::~HostileClient() {
  if (socket_ >= 0) close(socket_);
}

bool HostileClient::send(const std::string& bytes) {
  std::size_t sent = 0;
  while (sent < bytes.size()) {
    const ssize_t n = ::send(socket_, bytes.data() + sent, bytes.size() - sent, MSG_NOSIGNAL);
    if (n <= 0) return false;
    sent += static_cast<std::size_t>(n);
  }
  return true;
}

void HostileClient::close_sending() { shutdown(socket_, SHUT_WR); }

void HostileClient::reset() {
  const linger at_once{1, 0};
  setsockopt(socket_, SOL_SOCKET, SO_LINGER, &at_once, sizeof at_once);
  close(std::exchange(socket_, -1));
}

std::string HostileClient::read(std::chrono::milliseconds patience) {
  std::string all;
  pollfd waits{socket_, POLLIN, 0};
  while (poll(&waits, 1, static_cast<int>(patience.count())) > 0) {
    char block[8192];
    const ssize_t n = recv(socket_, block, sizeof block, 0);
    if (n <= 0) break;
    all.append(block, static_cast<std::size_t>(n));
  }
  return all;
}

bool HostileClient::is_closed() {
  pollfd waits{socket_, POLLIN, 0};
  char block[8192];
  while (poll(&waits, 1, 30'000) > 0)
    if (recv(socket_, block, sizeof block, 0) <= 0) return true;
  return false;
}

unsigned HostileClient::status() {
  std::string head;
  pollfd waits{socket_, POLLIN, 0};
  while (head.size() < 12 && poll(&waits, 1, 30'000) > 0) {
    char block[12];
    const ssize_t n = recv(socket_, block, sizeof block - head.size(), 0);
    if (n <= 0) break;
    head.append(block, static_cast<std::size_t>(n));
  }
  if (!head.starts_with("HTTP/1.") || head.size() < 12) return 0;
  return static_cast<unsigned>(std::atoi(head.substr(9, 3).c_str()));
}

unsigned status_of_bytes(std::uint16_t port, const std::string& bytes) {
  HostileClient client(port);
  client.send(bytes);
  return client.status();
}

}  // namespace tachproof
