// From the channels of a recording to lamps and tach edges.
//
//     LampWires wires(resolve(wiring, gauge), wiring);
//     auto reader = open_recording(file, wires.wanted());
//     while (std::size_t n = reader->next(block)) {
//       wires.add({block.data(), n});
//       ... take wires.lamps() and wires.tach() ...
//     }
//     wires.finish();
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/formats/recording.h"
#include "core/timeline.h"

namespace tachproof {

// A wired channel that did not say whether it was high or low. A lamp counts
// as dark meanwhile, and no tach edge is seen: a run with one of these cannot
// be decided.
struct UnknownLevel {
  std::string channel;
  std::uint64_t times = 0;
  Nanos first = 0;
};

class LampWires {
 public:
  // Of `wiring` only the tach channel, its edge and the active level count.
  LampWires(const std::vector<ResolvedWire>& wires, const Wiring& wiring);

  // The channels to ask the reader for, each once; the changes that `add` gets
  // have indices into it.
  const std::vector<std::string>& wanted() const { return wanted_; }

  void add(std::span<const ChannelChange> changes);
  void finish();  // no more changes

  // What add and finish have found since the last take, in time order. Changes
  // at one instant make one event.
  std::vector<LampEvent> take_lamps();
  std::vector<Nanos> take_tach();

  const std::vector<UnknownLevel>& unknown() const { return unknown_; }  // in order of `first`

 private:
  void note_unknown(const ChannelChange& change);
  void settle();

  std::vector<std::string> wanted_;
  std::vector<Channels> lights_;  // by channel; a channel may light several
  std::vector<Level> levels_;
  std::optional<std::uint32_t> tach_;
  Level lit_level_;
  Level after_edge_;
  Channels lit_ = 0;
  std::optional<Nanos> open_;  // the instant whose changes are still coming
  std::optional<Channels> given_;
  std::vector<LampEvent> lamps_;
  std::vector<Nanos> edges_;
  std::vector<UnknownLevel> unknown_;
};

}  // namespace tachproof
