// The bench's board without the board: its firmware on an emulated ATmega328P.
//
// In virtual time and without I/O: bytes and pin levels go in, bytes and edges
// come out, and the same inputs give the same cycles. What simavr 1.6 models
// less strictly than the chip is put right here: the length of a frame of
// bits, the receiver's two-byte buffer, the cycles of an interrupt's entry.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "core/base/time.h"

namespace tachproof {

using Cycles = std::uint64_t;  // since the emulator was made; a reset does not restart them

inline constexpr Cycles board_hz = 16'000'000;
constexpr Cycles cycles_of(Nanos t) { return static_cast<Cycles>(t) * 2 / 125; }
constexpr Nanos nanos_of(Cycles c) { return static_cast<Nanos>(c * 125 / 2); }

struct PinEdge {
  Cycles at = 0;
  bool rising = false;
  bool operator==(const PinEdge&) const = default;
};

// A set of eight levels, from `at` on.
struct PinLevels {
  Cycles at = 0;
  std::uint8_t levels = 0;
  bool operator==(const PinLevels&) const = default;
};

// What hangs on the board's pins: hears the tach output, moves the inputs.
class WiredUnit {
 public:
  virtual ~WiredUnit() = default;
  // Rising tach edges since the last call, then silence until `until`.
  // Appends what the inputs do up to then, in time order.
  virtual void run(std::span<const Nanos> pulses, Nanos until, std::vector<PinLevels>& out) = 0;
  // The board's outputs, link_output_..., from `at` on: before the run that reaches it.
  virtual void outputs(const PinLevels& change) { (void)change; }
};

// Damage to the serial line: the byte-th byte in that direction, from 0.
struct LineFault {
  enum class Direction { to_board, to_host } direction = Direction::to_board;
  enum class Kind { flip, lose, twice } kind = Kind::flip;
  std::uint64_t byte = 0;
  unsigned bit = 0;  // flip
};

class EmulatedBoard {
 public:
  // Throws std::runtime_error when the firmware cannot be loaded.
  explicit EmulatedBoard(const std::filesystem::path& elf);
  ~EmulatedBoard();
  EmulatedBoard(const EmulatedBoard&) = delete;

  Cycles cycle() const;
  // Runs to the first instruction's end at or after `until`.
  void run_until(Cycles until);

  // The serial line. Bytes go in one after another at the line's speed.
  void send(std::span<const std::uint8_t> bytes);
  std::vector<std::uint8_t> take_sent();  // whole bytes, so far
  std::uint64_t bytes_to_board() const;   // so far, as sent
  std::uint64_t bytes_to_host() const;
  std::uint64_t bytes_overrun() const;  // lost in the receiver, as on the chip
  void damage(const LineFault& fault);  // a byte still to come

  // The pins. A unit's changes reach the inputs exactly unit_lag after it made
  // them.
  void attach(std::unique_ptr<WiredUnit> unit);
  static constexpr Nanos unit_lag = 10 * ns_per_us;
  void set_inputs(std::uint8_t levels);  // now
  void set_inputs_at(const PinLevels& change);

  const std::vector<PinEdge>& tach_edges() const;        // PB1
  const std::vector<PinLevels>& input_changes() const;   // as they reached the pins
  const std::vector<PinLevels>& output_changes() const;  // link_output_..., as the pins show them
  void forget_edges();                                   // tach and inputs: for long runs

  void reset();  // the reset button: memory and pins start over, time goes on

  // Errors that the emulator's core has complained of, empty when all is well.
  const std::string& complaints() const;

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace tachproof
