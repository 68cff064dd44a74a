// HTTP on the loopback interface: Boost.Beast on one thread, handlers on a few others.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "bench/page/request.h"

namespace tachproof {

struct ServerSettings {
  std::uint16_t port = 0;            // 0: any that is free
  std::vector<std::string> origins;  // of a reverse proxy in front: "https://bench.example"; besides our own
};

class PageServer {
 public:
  // Takes the port; throws std::runtime_error with a sentence where it cannot. Nothing is answered before
  // start().
  PageServer(const ServerSettings& settings, Handler handler);
  ~PageServer();  // as stop()
  PageServer(const PageServer&) = delete;
  PageServer& operator=(const PageServer&) = delete;

  void start();
  void stop();

  std::uint16_t port() const;
  // With the key: what a person opens. "http://127.0.0.1:8765/?key=..."
  std::string address() const;

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

// What is borne at once and at most; more is refused, none of it stops a run.
inline constexpr std::size_t most_connections = 128;
inline constexpr std::size_t most_header_bytes = std::size_t{16} << 10;
inline constexpr std::size_t most_body_bytes = std::size_t{64} << 20;  // a recording that is handed in

}  // namespace tachproof
