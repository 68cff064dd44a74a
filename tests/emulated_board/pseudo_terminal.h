// A serial port that is no port: what the emulated board is plugged into.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace tachproof {

class PseudoTerminal {
 public:
  PseudoTerminal();  // throws std::system_error
  ~PseudoTerminal();
  PseudoTerminal(const PseudoTerminal&) = delete;

  const std::string& path() const { return path_; }  // for the other side to open

  std::vector<std::uint8_t> read();  // what is there now
  // Waits for exactly `count` bytes; throws after two seconds.
  std::vector<std::uint8_t> read(std::size_t count);
  void write(std::span<const std::uint8_t> bytes);
  void hang_up();  // as if unplugged; for good

 private:
  int master_ = -1;
  int slave_ = -1;  // kept open, so that a client may leave and another come
  std::string path_;
};

}  // namespace tachproof
