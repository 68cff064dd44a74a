#include "bench/rigs/board/board_train.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/rigs/rig.h"

namespace tachproof {
namespace {

constexpr LinkTicks nearest_tick(Nanos t) {
  return static_cast<LinkTicks>((t + link_tick_ns / 2) / link_tick_ns);
}

}  // namespace

void TrainEncoder::outputs(Nanos at, unsigned outputs) { outputs_.push_back({nearest_tick(at), outputs}); }

void TrainEncoder::advance(LinkTicks to, bool edge, std::vector<std::uint16_t>& out) {
  bool just_set = false;  // two settings in a row would only delay the board's stamps
  while (!outputs_.empty() && outputs_.front().at < to) {
    // A wait needs its least length on both sides; without the room, the end
    // of the entry before will do.
    if (outputs_.front().at > end_ && to >= end_ + 2 * link_min_ticks) {
      const LinkTicks at = std::clamp(outputs_.front().at, end_ + link_min_ticks, to - link_min_ticks);
      append_entries(at - end_, false, out);
      end_ = at;
      just_set = false;
    }
    if (just_set) out.pop_back();
    out.push_back(outputs_entry(outputs_.front().outputs));
    just_set = true;
    outputs_.pop_front();
  }
  append_entries(to - end_, edge, out);
  end_ = to;
}

void TrainEncoder::block(std::span<const Nanos> pulses, Nanos until, std::vector<std::uint16_t>& out) {
  for (Nanos pulse : pulses) {
    LinkTicks at = nearest_tick(pulse);
    // A gap of just the shortest interval may round to one tick less.
    if (at + 1 == end_ + link_min_ticks) ++at;
    if (at < end_ + link_min_ticks) {
      throw RigError(fmt::format(
          "playing the train on the board: two pulses at {1:.6f} s are {0} us apart; the board needs at "
          "least {2} us",
          (at - end_) * link_tick_ns / 1000, to_seconds(pulse), link_min_ticks * link_tick_ns / 1000));
    }
    advance(at, true, out);
  }
  // The next pulse comes after `until`: leave it the room that it needs.
  const auto quiet_until = static_cast<LinkTicks>(until / link_tick_ns);
  if (quiet_until >= end_ + 2 * link_min_ticks) advance(quiet_until - link_min_ticks, false, out);
}

void TrainLedger::sent(std::span<const std::uint16_t> entries) {
  waiting_.insert(waiting_.end(), entries.begin(), entries.end());
}

bool TrainLedger::taken(const LinkCredit& report) {
  const auto more = static_cast<std::uint16_t>(report.entries_taken - static_cast<std::uint16_t>(entries_));
  if (more > waiting_.size()) return false;
  for (std::uint16_t i = 0; i < more; ++i) {
    const std::uint16_t entry = waiting_.front();
    waiting_.pop_front();
    const unsigned ticks = entry & link_max_ticks;
    if (ticks < link_min_ticks) continue;
    ticks_ += ticks;
    last_was_edge_ = (entry & link_entry_wait) == 0;
    if (last_was_edge_) ++edges_;
  }
  entries_ += more;
  return report.ticks_taken == static_cast<std::uint16_t>(ticks_);
}

bool TrainLedger::edges_agree(std::uint16_t reported) const {
  const auto made = static_cast<std::uint16_t>(edges_);
  return reported == made || (last_was_edge_ && reported == static_cast<std::uint16_t>(made - 1));
}

}  // namespace tachproof
