// A client that means no good: it sends any bytes at any pace.
#pragma once

#include <chrono>
#include <cstdint>
#include <string>

namespace tachproof {

class HostileClient {
 public:
  // Throws std::runtime_error where nobody listens.
  explicit HostileClient(std::uint16_t port);
  ~HostileClient();
  HostileClient(const HostileClient&) = delete;
  HostileClient(HostileClient&& from) noexcept;
  HostileClient& operator=(const HostileClient&) = delete;

  // False when the server has closed the connection before all was taken.
  bool send(const std::string& bytes);
  void close_sending();
  void reset();  // closes rudely: the server gets a reset
  // All that comes until the server closes, or nothing comes for `patience`.
  std::string read(std::chrono::milliseconds patience = std::chrono::seconds(30));
  // The server has closed, or does within half a minute.
  bool is_closed();

  // The status of the next answer; 0 where none comes.
  unsigned status();

 private:
  int socket_ = -1;
};

// The status of the answer to exactly these bytes; 0 where none comes.
unsigned status_of_bytes(std::uint16_t port, const std::string& bytes);

}  // namespace tachproof
