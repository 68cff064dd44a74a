// The train as the board takes it: instants to entries, and the account of
// which entries it has taken.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "bench/rigs/board/board_link.h"
#include "core/base/time.h"

namespace tachproof {

// Turns instants into entries. Each edge is rounded to the nearest tick of the
// whole run, not of its interval, so that rounding never adds up.
class TrainEncoder {
 public:
  // Sets the outputs at `at`, give or take a shortest interval or two where the
  // pulses leave no room. In time order, before the block that reaches them.
  void outputs(Nanos at, unsigned outputs);

  // Pulses in time order, all after the last block's `until`; then nothing
  // until `until`. Appends entries. Throws RigError when two pulses are closer
  // than the board can play.
  void block(std::span<const Nanos> pulses, Nanos until, std::vector<std::uint16_t>& out);

  // Whole ticks up to which entries have been made.
  LinkTicks end() const { return end_; }

 private:
  void advance(LinkTicks to, bool edge, std::vector<std::uint16_t>& out);

  struct Output {
    LinkTicks at;
    unsigned outputs;
  };
  LinkTicks end_ = 0;
  std::deque<Output> outputs_;
};

// What was sent and what of it was taken. The board reports how many entries
// it has taken, how long they are together and how many edges it has made; an
// entry that had changed on the way would show here.
class TrainLedger {
 public:
  void sent(std::span<const std::uint16_t> entries);
  std::size_t outstanding() const { return waiting_.size(); }  // sent, not taken
  LinkTicks taken_ticks() const { return ticks_; }

  // False: the report contradicts what was sent.
  bool taken(const LinkCredit& report);
  // After taken(): the last entry's edge may be still to come.
  bool edges_agree(std::uint16_t reported) const;

 private:
  std::deque<std::uint16_t> waiting_;
  std::uint64_t entries_ = 0, edges_ = 0;
  LinkTicks ticks_ = 0;
  bool last_was_edge_ = false;
};

}  // namespace tachproof
