// A board that greets as it should and then says what cannot be: no emulator, but messages by hand.
#include <gtest/gtest.h>

#include <deque>
#include <memory>
#include <string>
#include <vector>

#include "bench/rigs/board/board.h"
#include "tests/emulated_board/scripted_board.h"

namespace tachproof {
namespace {

using Bytes = std::vector<std::uint8_t>;

void put(Bytes& into, std::uint64_t value, int bytes) {
  for (int i = 0; i < bytes; ++i) into.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
}

// What a sound board says, message by message.
class Said {
 public:
  void say(std::uint8_t type, const Bytes& payload) {
    if (type == link_hello) sequence_ = 0;
    messages_.push_back(encode({type, sequence_++, payload}));
  }
  void hello(unsigned queue_entries) {
    Bytes payload{link_protocol_version, 7, 1};
    put(payload, 0, 4);  // build
    put(payload, 16'000'000, 4);
    put(payload, 0x0208, 2);  // eight inputs, two outputs
    put(payload, queue_entries, 2);
    put(payload, link_min_ticks, 2);
    put(payload, 0, 4);
    say(link_hello, payload);
  }
  // Its clock at the run's begin is 1,000 ticks.
  void begin(unsigned queue_entries) {
    for (int greeting = 0; greeting < 2; ++greeting) {
      hello(queue_entries);
      messages_.push_back({});  // the last answers are waited for
    }
    instant(link_armed, 900);
    status(link_state_armed, 950);
    instant(link_started, 1000);
  }
  void instant(std::uint8_t type, std::uint64_t ticks) {
    Bytes payload;
    put(payload, ticks, 6);
    say(type, payload);
  }
  // Nothing was taken and nothing played.
  void status(std::uint8_t state, std::uint64_t seen_until) {
    Bytes payload{state, 0};
    put(payload, 0, 8);
    put(payload, seen_until, 6);
    put(payload, 0, 1);
    say(link_status, payload);
  }
  const std::deque<Bytes>& messages() const { return messages_; }

 private:
  std::deque<Bytes> messages_;
  std::uint8_t sequence_ = 0;
};

std::string complaint(const Said& said) {
  PseudoTerminal terminal;
  BoardSettings settings;
  settings.port = terminal.path();
  const Rig rig = board_rig(settings, std::make_unique<ScriptedBoard>(terminal, said.messages()));
  std::string what = "none";
  try {
    rig.source->begin();
    const std::vector<Nanos> pulses{100 * ns_per_ms, 200 * ns_per_ms, 300 * ns_per_ms};
    rig.source->play({pulses, 400 * ns_per_ms});
    std::vector<LampEvent> events;
    rig.watcher->collect(60 * ns_per_s, events);
  } catch (const RigError& e) {
    what = e.what();
    what.replace(what.find(terminal.path()), terminal.path().size(), "PORT");
  }
  rig.source->end();
  return what;
}

TEST(BoardThatLies, HoldsNothing) {
  Said said;
  said.begin(0);
  EXPECT_EQ(complaint(said),
            "the board on PORT says that it can hold 0 pulses to come, and 42 are needed: flash its firmware "
            "again, or have the board checked");
}

TEST(BoardThatLies, TakesNothingWhileItsClockGoesOn) {
  Said said;
  said.begin(256);
  for (unsigned i = 1; i < 200; ++i)
    said.status(link_state_running, 1000 + i * 20 * ns_per_ms / link_tick_ns);
  EXPECT_EQ(complaint(said), "the board on PORT has stopped playing without saying so: run again");
}

TEST(BoardThatLies, BeginsTwice) {
  Said said;
  said.begin(256);
  said.instant(link_started, 5000);
  EXPECT_EQ(complaint(said), "the board on PORT has begun the run twice: run again");
}

}  // namespace
}  // namespace tachproof
