// A serial line: raw bytes, 8N1, no flow control, ours alone.
//
// Real ports are opened through libserialport, pseudo-terminals through plain
// termios. Reading is asynchronous and goes to a sink; writing waits, because
// the link's credits keep the line's buffer almost empty.
#pragma once

#include <boost/asio/awaitable.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <cstdint>
#include <functional>
#include <span>
#include <string>

namespace tachproof {

// Opens the line, as above, for the caller to close. `what` is for messages:
// "the board's port". Throws RigError.
int open_serial(const std::string& what, const std::string& name, unsigned baud);

class SerialPort {
 public:
  using Sink = std::function<void(std::span<const std::uint8_t>)>;

  // Throws RigError: no such port, no permission, in use.
  SerialPort(boost::asio::io_context& io, const std::string& name, unsigned baud);
  ~SerialPort();
  SerialPort(const SerialPort&) = delete;

  const std::string& name() const { return name_; }

  void read_into(Sink sink);           // from now on, as the io_context runs
  bool lost() const { return lost_; }  // unplugged

  void write(std::span<const std::uint8_t> bytes);  // throws RigError

  std::uint64_t bytes_read() const { return bytes_read_; }
  std::uint64_t bytes_written() const { return bytes_written_; }

 private:
  boost::asio::awaitable<void> read_on(Sink sink);

  std::string name_;
  boost::asio::posix::stream_descriptor descriptor_;
  std::uint64_t bytes_read_ = 0, bytes_written_ = 0;
  bool lost_ = false;
};

}  // namespace tachproof
