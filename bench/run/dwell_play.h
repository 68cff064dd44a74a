// What a dwell plays, and counts while it does: holds under the scripted noise,
// and visits to a boundary with an even signal.
#pragma once

#include <array>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "bench/run/evidence_writer.h"
#include "bench/run/pace.h"
#include "bench/run/playing.h"
#include "core/flicker/flicker_counter.h"
#include "core/plan/dwell_visit.h"
#include "core/signal/noise.h"
#include "core/signal/profile.h"

namespace tachproof {

// On average, from a hold to the next one.
Nanos lasts_on_bench(const DwellVisit& visit);

class DwellPlay {
 public:
  DwellPlay(const Gauge& gauge, const Noise& noise, std::uint64_t seed, Rig& rig, RunFolder& folder,
            const RunHooks& hooks, FoundByBench found);

  // Holds the mean until `done(held)`, asked after each stretch, or for `longest`;
  // what the unit does in the first `before` and its response is not counted.
  // Returns how long it was counted. `done` may ask for changes().
  Nanos hold(std::size_t boundary, double mean_rpm, Nanos before, Nanos longest,
             const std::function<bool(Nanos held)>& done);
  std::optional<DwellVisit::Seen> visit(std::size_t boundary, const DwellVisit& visit);

  std::uint64_t changes() const { return counter_.changes(); }
  bool is_blind(std::size_t boundary) const { return counter_.is_blind(boundary); }
  bool any_lamps() const { return counter_.any_lamps(); }
  Nanos seen_until() const { return seen_until_; }
  std::uint64_t pulses() const { return given_; }
  EvidenceWriter& writer() { return writer_; }
  Playing& playing() { return playing_; }

 private:
  Nanos play(std::size_t boundary, const Profile& profile, const Noise& noise, Nanos before, Nanos longest,
             const std::function<bool(Nanos)>& done);
  void draw(const Profile& profile, Nanos start);
  void saw(std::span<const LampEvent> events, Nanos certain, const Seen& seen);
  Nanos pause();
  Nanos handed_ahead() const;

  const Gauge& gauge_;
  Noise noise_;
  std::uint64_t seed_;
  Pace pace_;
  FlickerCounter counter_;
  EvidenceWriter writer_;
  FoundByBench found_;
  std::array<Nanos, 4096> chunk_{};
  std::vector<Nanos> pulses_;  // generated, not yet played
  std::uint64_t plays_ = 0, given_ = 0;
  std::size_t pauses_ = 0;
  Nanos last_pulse_ = 0;  // generated
  Nanos seen_until_ = 0;
  Playing playing_;
};

}  // namespace tachproof
