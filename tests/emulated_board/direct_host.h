// A host in the same thread as the emulated board: sends frames, lets time
// pass, keeps what comes back. For tests of the firmware itself.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "bench/rigs/board/board_link.h"
#include "tests/emulated_board/emulated_board.h"

namespace tachproof {

inline constexpr Cycles cycles_per_tick = 8;

// What the pin must do for these entries, in cycles after instant 0.
struct TrainEdges {
  std::vector<Cycles> rising;
  std::vector<Cycles> falling;
};
TrainEdges edges_of(const std::vector<std::uint16_t>& entries, std::uint16_t pulse_ticks);

std::vector<std::uint16_t> even_train(std::size_t pulses, std::uint16_t ticks);  // with its end

class DirectHost {
 public:
  DirectHost();

  EmulatedBoard board;
  std::vector<LinkFrame> frames;  // as received
  int damaged = 0;                // unsound frames received
  int out_of_turn = 0;            // frames whose sequence number was not the next

  void send(std::uint8_t type, const std::vector<std::uint8_t>& payload = {});
  void run_for(Nanos time);

  LinkHello hello();  // asks, and waits for the answer
  // Arms, and returns the instant.
  LinkTicks arm(std::uint16_t pulse_ticks = 2000, std::uint8_t wired = 0xff);
  // Streams the entries, starting the train after the first queue-full, and
  // stays until the board says that the train has ended or stopped. Asks for a
  // status every `ask_every`. Returns instant 0 of the train.
  LinkTicks play(const std::vector<std::uint16_t>& entries, Nanos ask_every = 50 * ns_per_ms);
  LinkStatus status();                    // asks, and waits for the answer
  std::vector<LinkStamp> stamps() const;  // all that were received

  // The last frame of a type, if any.
  const LinkFrame* last(std::uint8_t type) const;

 private:
  const LinkFrame& await(std::uint8_t type);  // a new one; throws after a second
  std::size_t count(std::uint8_t type) const;

  LinkDecoder decoder_;
  std::uint8_t sequence_ = 0;
  std::uint8_t expected_ = 0;
};

}  // namespace tachproof
