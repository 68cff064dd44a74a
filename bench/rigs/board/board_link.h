// The host's end of the board's link: frames to bytes and back, and what the
// frames say. The wire format is bench/firmware/protocol.h.
//
//     LinkDecoder decoder;
//     while (!bytes.empty()) {
//       LinkDecoder::Step step = decoder.take(bytes);
//       bytes = bytes.subspan(step.used);
//       if (step.frame) handle(*step.frame);
//       if (step.damaged) ...
//     }
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "bench/firmware/protocol.h"

namespace tachproof {

struct LinkFrame {
  std::uint8_t type = 0;  // link_hello, ...
  std::uint8_t sequence = 0;
  std::vector<std::uint8_t> payload;
  bool operator==(const LinkFrame&) const = default;
};

// The bytes on the wire, with the 0x00 that ends them. The payload must hold
// no more than link_max_payload bytes.
std::vector<std::uint8_t> encode(const LinkFrame& frame);

// Finds frames in a stream of bytes, however it is cut up. It starts over at
// each 0x00, so damage costs the frames that it touches and no more. A damaged
// frame gets through with a probability of 2^-16 at most, when it happens to
// keep its length byte true; the sequence number and the totals in link_credit
// are there to catch it all the same.
class LinkDecoder {
 public:
  struct Step {
    std::size_t used = 0;            // bytes taken from the front
    std::optional<LinkFrame> frame;  // a sound frame ended at the last of them
    bool damaged = false;            // an unsound one did
  };
  // Takes bytes up to and including the next end of a frame, or all of them.
  Step take(std::span<const std::uint8_t> bytes);

 private:
  std::vector<std::uint8_t> encoded_;  // since the last 0x00, without it
};

// ---- what the board says ---------------------------------------------------
// Each parse_... gives nothing when the payload's size is not the type's own.

using LinkTicks = std::uint64_t;  // of link_tick_ns, 48 bits, since the board's reset

struct LinkHello {
  std::uint8_t protocol = 0;
  std::uint8_t firmware_major = 0;
  std::uint8_t firmware_minor = 0;
  std::uint32_t build_id = 0;
  std::uint32_t clock_hz = 0;
  std::uint8_t inputs = 0;
  std::uint8_t outputs = 0;
  std::uint16_t queue_entries = 0;
  std::uint16_t min_ticks = 0;
  std::uint16_t stamp_delay_ns = 0;   // from a pin's change to its stamp, at least
  std::uint16_t stamp_spread_ns = 0;  // how much later it may be
  bool operator==(const LinkHello&) const = default;
};
// A hello of another protocol version keeps only its first byte's meaning:
// then `protocol` is set and the rest is 0.
std::optional<LinkHello> parse_hello(std::span<const std::uint8_t> payload);

std::optional<LinkTicks> parse_ticks(std::span<const std::uint8_t> payload);  // armed, started

struct LinkCredit {
  std::uint16_t entries_taken = 0;  // since arm, modulo 2^16
  std::uint16_t ticks_taken = 0;    // their sum, modulo 2^16
  bool operator==(const LinkCredit&) const = default;
};
std::optional<LinkCredit> parse_credit(std::span<const std::uint8_t> payload);

struct LinkStamp {
  LinkTicks at = 0;
  std::uint8_t inputs = 0;
  bool operator==(const LinkStamp&) const = default;
};
struct LinkLamps {
  std::uint16_t lost = 0;  // since arm
  std::vector<LinkStamp> stamps;
};
std::optional<LinkLamps> parse_lamps(std::span<const std::uint8_t> payload);

struct LinkStatus {
  std::uint8_t state = 0;  // link_state_...
  std::uint8_t flags = 0;  // link_flag_...
  LinkCredit taken;
  std::uint16_t edges = 0;  // played since arm, modulo 2^16
  std::uint16_t lost = 0;
  LinkTicks seen_until = 0;  // every earlier stamp has been sent
  std::uint8_t inputs = 0;
  bool operator==(const LinkStatus&) const = default;
};
std::optional<LinkStatus> parse_status(std::span<const std::uint8_t> payload);

// ---- what the host says ----------------------------------------------------
// Payloads; the sequence number is the connection's business.

std::vector<std::uint8_t> ask_hello_payload();
std::vector<std::uint8_t> arm_payload(std::uint16_t pulse_ticks, std::uint8_t wired_inputs);
std::vector<std::uint8_t> train_payload(std::span<const std::uint16_t> entries);

inline constexpr std::size_t link_max_entries = link_max_payload / 2;  // in one link_train

// Entries for `ticks` from the end of the entry before until an edge or, with
// `edge` false, until nothing. Longer times are split; `ticks` must be at
// least link_min_ticks.
void append_entries(std::uint64_t ticks, bool edge, std::vector<std::uint16_t>& out);

// The entry that sets the outputs to these link_output_... bits.
constexpr std::uint16_t outputs_entry(unsigned outputs) {
  return static_cast<std::uint16_t>(unsigned{link_entry_outputs} | outputs);
}

}  // namespace tachproof
