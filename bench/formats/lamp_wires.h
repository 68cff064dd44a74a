// From the channels of a recording to lamps and the tach line.
//
//     LampWires wires(resolve(wiring, gauge), wiring);
//     auto reader = open_recording(file, wires.wanted());
//     while (std::size_t n = reader->next(block)) {
//       wires.add({block.data(), n});
//       ... take_lamps() and take_tach() ...
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
#include "core/judge/timeline.h"
#include "core/recording/contact_bounce.h"

namespace tachproof {

// A wired channel that did not say whether it was high or low. A lamp counts
// as dark meanwhile, and the tach line keeps its last level: a run with one of these cannot
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
  // at one instant make one event. Of the tach line its changes: active is the
  // level that follows the wiring's edge.
  std::vector<LampEvent> take_lamps();
  std::vector<LineChange> take_tach();

  const std::vector<UnknownLevel>& unknown() const { return unknown_; }  // in order of `first`

 private:
  void note_tach(const ChannelChange& change);
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
  std::optional<Level> tach_level_;  // the last that was known
  std::vector<LineChange> tach_changes_;
  std::vector<UnknownLevel> unknown_;
};

}  // namespace tachproof
