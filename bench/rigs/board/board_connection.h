// One board on one serial line: greets it, sends frames in turn, hands on the
// frames that come. Once greeted, the line has to be faultless: a damaged or
// missing frame, a restart or silence is a RigError from the next call.
#pragma once

#include <boost/asio/io_context.hpp>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "bench/rigs/board/board_link.h"
#include "bench/rigs/board/host_clock.h"
#include "bench/rigs/serial_port.h"

namespace tachproof {

class BoardConnection {
 public:
  using Handler = std::function<void(const LinkFrame&)>;

  // Opens the port and greets the board, which may take three seconds: opening
  // restarts most boards. Throws RigError.
  BoardConnection(const std::string& port, std::unique_ptr<HostClock> clock);

  const LinkHello& hello() const { return *hello_; }
  const std::string& port() const { return port_.name(); }
  Nanos now() { return clock_->now(); }

  // Starts over: the board goes idle. Throws RigError when it does not answer.
  void greet();
  void on_frame(Handler handler) { handler_ = std::move(handler); }
  void send(std::uint8_t type, std::span<const std::uint8_t> payload = {});
  // Handles what has come; waits for more until about `until` if nothing has.
  void let_pass(Nanos until);
  // Lets time pass until `done`; throws RigError with `what` after `patience`.
  void wait_for(const std::function<bool()>& done, Nanos patience, const std::string& what);

  static constexpr Nanos silence_limit = ns_per_s;

 private:
  void received(std::span<const std::uint8_t> bytes);
  void received(const LinkFrame& frame);
  void problem(std::string what);

  boost::asio::io_context io_;
  std::unique_ptr<HostClock> clock_;
  SerialPort port_;
  LinkDecoder decoder_;
  Handler handler_;
  std::optional<LinkHello> hello_;
  bool greeted_ = false;
  std::uint8_t sequence_ = 0, expected_ = 0;
  std::optional<Nanos> asked_;  // when the board was last sent something that it has not answered
  std::string problem_;         // the first, to be thrown outside of the handlers
};

}  // namespace tachproof
