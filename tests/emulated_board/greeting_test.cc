// What the bench makes of whatever answers on the port: no emulator here, but
// bytes that are put on the line by hand.

#include <gtest/gtest.h>

#include <boost/asio/io_context.hpp>
#include <chrono>
#include <memory>
#include <string>
#include <vector>

#include "bench/firmware/protocol.h"
#include "bench/rigs/board/board_connection.h"
#include "bench/rigs/rig.h"
#include "tests/emulated_board/pseudo_terminal.h"

namespace tachproof {
namespace {

using Bytes = std::vector<std::uint8_t>;

// Answers the first question, whatever it is, and lets 50 ms pass at each turn.
class ScriptedClock : public HostClock {
 public:
  ScriptedClock(PseudoTerminal& terminal, Bytes answer) : terminal_(terminal), answer_(std::move(answer)) {}
  Nanos now() override { return now_; }
  void let_pass(boost::asio::io_context& io, const SerialPort& port, Nanos) override {
    now_ += 50 * ns_per_ms;
    terminal_.write(answer_);
    sent_ += answer_.size();
    answer_.clear();
    do {
      io.restart();
      io.run_one_for(std::chrono::seconds(port.bytes_read() < sent_ ? 2 : 0));
    } while (port.bytes_read() < sent_);
  }

 private:
  PseudoTerminal& terminal_;
  Bytes answer_;
  std::uint64_t sent_ = 0;
  Nanos now_ = 0;
};

std::string greeting(const Bytes& answer) {
  PseudoTerminal terminal;
  try {
    BoardConnection connection(terminal.path(), std::make_unique<ScriptedClock>(terminal, answer));
    return "greeted, firmware " + std::to_string(connection.hello().firmware_major);
  } catch (const RigError& e) {
    std::string what = e.what();
    what.replace(what.find(terminal.path()), terminal.path().size(), "PORT");
    return what;
  }
}

Bytes hello_of(std::uint8_t protocol) {
  Bytes payload(link_hello_size, 0);
  payload[0] = protocol;
  payload[1] = 7;
  return encode({link_hello, 0, payload});
}

const std::string no_answer =
    "greeting the board on PORT: no answer within 3.5 s; is it the right port, and does the board carry the "
    "bench's "
    "firmware (bench/firmware/README.md)?";

TEST(Greeting, TakesABoardThatSpeaksTheSameVersion) {
  EXPECT_EQ(greeting(hello_of(link_protocol_version)), "greeted, firmware 7");
}

TEST(Greeting, SaysPlainlyThatTheVersionsDiffer) {
  EXPECT_EQ(greeting(hello_of(9)),
            "greeting the board on PORT: its firmware speaks version 9 of the link, and this program speaks "
            "version 3: flash the firmware that came with the program (bench/firmware/README.md)");
}

TEST(Greeting, GivesUpOnSilence) { EXPECT_EQ(greeting({}), no_answer); }

TEST(Greeting, GivesUpOnADeviceThatSpeaksOtherwise) {
  const std::string banner = "modem ready\r\n";
  EXPECT_EQ(greeting({banner.begin(), banner.end()}), no_answer);
}

TEST(Greeting, IgnoresWhatABootLoaderSaysFirst) {
  Bytes answer{0x55, 0xaa, 0x00, 0x14, 0x00};
  const Bytes hello = hello_of(link_protocol_version);
  answer.insert(answer.end(), hello.begin(), hello.end());
  EXPECT_EQ(greeting(answer), "greeted, firmware 7");
}

}  // namespace
}  // namespace tachproof
