// The way to an instrument that takes lines of text and answers in lines:
// a TCP socket, a serial line, or a USB test-and-measurement device.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "core/base/time.h"

namespace tachproof {

class InstrumentLink {
 public:
  virtual ~InstrumentLink() = default;
  // One message, without its end. Throws RigError: the instrument is gone.
  virtual void write(const std::string& message) = 0;
  // One answer, without its end; a bare newline is an empty one. Nothing: none
  // came within `patience` of wall time, which is short in a hurry
  // (bench/rigs/last_words.h). Throws RigError: the instrument is gone, or
  // sends what can be no answer.
  virtual std::optional<std::string> read(Nanos patience) = 0;
  // Where it leads, the same whatever name was given: "192.0.2.7:5025". Empty:
  // the device itself is locked against other programs.
  virtual std::string leads_to() const { return ""; }
  // What a message is written to.
  virtual int descriptor() const = 0;
};

struct InstrumentAddress {
  // "host:port" or "host" (port 5025), "[v6]:port"; else a device: "/dev/usbtmc0"
  // or a serial line.
  std::string text;
  unsigned baud = 9600;  // of a serial line
};

// Throws RigError: nobody there, no permission, in use.
std::unique_ptr<InstrumentLink> open_instrument(const InstrumentAddress& address);

inline constexpr std::size_t longest_answer = 4096;

}  // namespace tachproof
