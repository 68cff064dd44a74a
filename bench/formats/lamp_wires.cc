#include "bench/formats/lamp_wires.h"

#include <algorithm>
#include <utility>

namespace tachproof {

LampWires::LampWires(const std::vector<ResolvedWire>& wires, const Wiring& wiring)
    : lit_level_(wiring.active_high ? Level::high : Level::low),
      after_edge_(wiring.tach_rising ? Level::high : Level::low) {
  const auto index_of = [this](const std::string& channel) {
    const auto at = std::find(wanted_.begin(), wanted_.end(), channel);
    const auto index = static_cast<std::uint32_t>(at - wanted_.begin());
    if (at == wanted_.end()) {
      wanted_.push_back(channel);
      lights_.push_back(0);
    }
    return index;
  };
  if (!wiring.tach.empty()) tach_ = index_of(wiring.tach);
  for (const ResolvedWire& wire : wires) {
    const std::uint32_t index = index_of(wire.channel);
    lights_[index] |= wire.lights;
  }
  levels_.assign(wanted_.size(), Level::unknown);
}

void LampWires::add(std::span<const ChannelChange> changes) {
  for (const ChannelChange& c : changes) {
    if (open_ && c.at != *open_) settle();
    open_ = c.at;
    if (c.level == Level::unknown) note_unknown(c);
    levels_[c.channel] = c.level;
    if (c.channel == tach_) note_tach(c);
    // Another channel may light the same lamp, so the whole is put together anew.
    if (lights_[c.channel] == 0) continue;
    lit_ = 0;
    for (std::size_t i = 0; i < levels_.size(); ++i) lit_ |= levels_[i] == lit_level_ ? lights_[i] : 0;
  }
}

void LampWires::finish() {
  if (open_) settle();
  open_.reset();
}

void LampWires::settle() {
  if (given_ == lit_) return;
  given_ = lit_;
  lamps_.push_back({*open_, lit_});
}

// What an unknown level hid is no edge.
void LampWires::note_tach(const ChannelChange& change) {
  if (change.level == Level::unknown) {
    tach_level_.reset();
    return;
  }
  const bool moved = tach_level_ && *tach_level_ != change.level;
  tach_level_ = change.level;
  if (moved) tach_changes_.push_back({change.at, change.level == after_edge_});
}

void LampWires::note_unknown(const ChannelChange& change) {
  const std::string& channel = wanted_[change.channel];
  for (UnknownLevel& u : unknown_) {
    if (u.channel == channel) {
      ++u.times;
      return;
    }
  }
  unknown_.push_back({channel, 1, change.at});
}

std::vector<LampEvent> LampWires::take_lamps() { return std::exchange(lamps_, {}); }

std::vector<LineChange> LampWires::take_tach() { return std::exchange(tach_changes_, {}); }

}  // namespace tachproof
